"""Draw the pictures of the pry and twist pages anew: `python -m tests.report.jig_pictures`.

Trials on the virtual jig, read through its calibrations as on a real one.
"""

import math
from itertools import pairwise

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from rig.measure.arm.facts import ArmRecord, Asked
from rig.measure.arm.motion import Motion, motion
from rig.measure.budget import Input
from rig.measure.pry.evaluate import PryResult, evaluate_pry
from rig.report.figures import DARK, FITTED, MARK, STYLE
from rig.virtual.arm.draw import Group, blade_edge
from tests.cli.commands import ROOT
from tests.measure.pry.coverage import Rig, make_rig
from tests.virtual.jigtrace import TwistSamples, simulate_twist

Array = NDArray[np.float64]

PROCEDURES = ROOT / "procedures"
SEED = 4
AMPLITUDE_DEG, CYCLES, RATE_DEG_S = 8.0, 5, 8.0
EDGE = Group(wear=0.12)  # wears fast enough to be seen
LINES = ("-", (0, (6, 2)), (0, (3, 2)), "-.", ":")


def pry() -> Figure:
    """A tip that snapped and one that bent, torque against angle from the pre-load point."""
    figure = Figure(figsize=(7.2, 5.2), layout="constrained")
    for axes, kind in zip(figure.subplots(1, 2), ("snap", "bend"), strict=True):
        rig = make_rig(SEED, kind)
        found = evaluate_pry(rig.record, rig.facts, Asked())
        made = motion(rig.record, rig.facts, 1)
        assert made is not None and found.kind == kind
        _curve(axes, rig, made, found)
        axes.set_title(f"{kind}, as the program called it")
        axes.set_xlabel("arm angle from the pre-load point, °")
        axes.set_ylabel("torque of the tip, N·m")
        axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.16), fontsize=8)
    return figure


def _curve(axes: Axes, rig: Rig, made: Motion, found: PryResult) -> None:
    limits, net = rig.facts.limits, made.net_nm
    first = int(np.argmax(net >= limits.preload_nm))
    degrees = np.degrees(made.angle_rad - made.angle_rad[first])
    axes.plot(degrees[first - 5 :], net[first - 5 :], ".-", ms=2.2, lw=0.6, color=DARK,
              label="measured, 80 a second")  # fmt: skip
    slope = math.radians(found["stiffness"].value)
    low, high = found.figures["straight_low_nm"], found.figures["straight_high_nm"]
    top = int(np.argmax(net))
    straight = first + np.flatnonzero((net[first:top] >= low) & (net[first:top] <= high))
    middle, level = degrees[straight].mean(), net[straight].mean()
    peak = found["peak_torque"].value
    for offset, style, words in (
        (0.0, "-", "straight part carried on"),
        (math.degrees(limits.onset_offset_rad), "--", "shifted by 0.5°"),
    ):
        torques = np.array([0.0, 1.08 * peak])
        axes.plot(middle + offset + (torques - level) / slope, torques, style, lw=1.2,
                  color=FITTED, label=words)  # fmt: skip
    ends = degrees[straight[[0, -1]]], net[straight[[0, -1]]]
    axes.plot(*ends, "s", ms=5, mfc="white", color=FITTED, label="ends of the straight part")
    onset = found["onset_torque"].value
    at = middle + math.degrees(limits.onset_offset_rad) + (onset - level) / slope
    axes.plot(at, onset, "D", ms=7, mfc="white", color=MARK, label=f"onset {onset:.2f} N·m")
    where = found.measurands.get("failure_angle")
    turned = degrees[top] if where is None else math.degrees(where.value)
    axes.plot(turned, peak, "^", ms=8, color=MARK,
              label=f"peak {peak:.2f} ± {found['peak_torque'].U:.2f} N·m")  # fmt: skip
    axes.set_ylim(-0.05 * peak, 1.12 * peak)
    shown = 1.9 * turned if found.kind == "snap" else 1.04 * degrees.max()
    axes.set_xlim(-0.04 * shown, shown)


def twist() -> Figure:
    """Loops of one edge, cycle over cycle, and the largest torque of each."""
    rig = make_rig(SEED, "bend")
    samples = simulate_twist(
        rig.truth, blade_edge("A1", group=EDGE), math.radians(AMPLITUDE_DEG), CYCLES,
        math.radians(RATE_DEG_S), seed=SEED,
    )  # fmt: skip
    made = motion(_twisted(samples), rig.facts, 1)
    assert made is not None
    figure = Figure(figsize=(7.2, 3.8), layout="constrained")
    loops, peaks = figure.subplots(1, 2, width_ratios=(3, 2))
    degrees = np.degrees(made.angle_rad)
    sides: dict[str, list[float]] = {"right": [], "left": []}
    for number, (start, end) in enumerate(pairwise(_starts(degrees))):
        torque = made.net_nm[start:end]
        colour, words = (DARK, FITTED)[number % 2], f"cycle {number + 1}"
        loops.plot(degrees[start:end], torque, ls=LINES[number], lw=1.3, color=colour, label=words)
        sides["right"].append(float(torque.max()))
        sides["left"].append(float(-torque.min()))
    cycles = range(1, 1 + len(sides["right"]))
    peaks.plot(cycles, sides["right"], "^-", color=DARK, label="right")
    peaks.plot(cycles, sides["left"], "v--", color=FITTED, label="left")
    loops.set(xlabel="arm angle, °", ylabel="torque of the edge, N·m", title="torque over angle")
    peaks.set(xlabel="cycle", ylabel="largest torque, N·m", title="its decay", xticks=cycles)
    for axes in (loops, peaks):
        axes.legend(fontsize=8)
    return figure


def _twisted(samples: TwistSamples) -> ArmRecord:
    """The twisting alone, and its zero from the rest before."""
    resting = _within(samples.load_ticks, samples.marks["rest"])
    load = _within(samples.load_ticks, samples.marks["twist"])
    angle = _within(samples.angle_ticks, samples.marks["twist"])
    zero = float(samples.load_codes[resting].mean())
    return ArmRecord(
        samples.load_ticks[load], samples.load_codes[load], samples.angle_ticks[angle],
        samples.angle_sums[angle], Input("zero", zero, 0.0),
    )  # fmt: skip


def _within(ticks: NDArray[np.int64], mark: tuple[int, int]) -> NDArray[np.bool_]:
    return np.asarray((ticks >= mark[0]) & (ticks <= mark[1]))


def _starts(degrees: Array) -> list[int]:
    """Where each cycle begins: the angle goes through zero to the right; and the end."""
    starts = [0]
    for i in range(1, len(degrees)):
        far = degrees[starts[-1] : i]
        if degrees[i - 1] < 0 <= degrees[i] and far.min() < -0.9 * AMPLITUDE_DEG:
            starts.append(i)
    if degrees[starts[-1] :].min() < -0.9 * AMPLITUDE_DEG:
        starts.append(len(degrees))
    return starts


def main() -> None:
    """Write both."""
    with mpl.rc_context(STYLE):
        for name, figure in (("pry_to_failure", pry()), ("edge_twist", twist())):
            figure.savefig(PROCEDURES / f"{name}.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
