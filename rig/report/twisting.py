"""The page's section on the edge-stability twist."""

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from rig.guide import jigs
from rig.measure.twist.cycles import find_cycles
from rig.measure.twist.evaluate import NOTICE
from rig.report.figures import DARK, STYLE, svg
from rig.report.gather import MeasuredTrial
from rig.report.sections import ONE_BLADE, Picture, Section, damage, left_out, stated

WORDS = {
    "peak_torque": "largest torque",
    "torque_ratio": "torque of the last cycle over the first",
    "work_total": "work of all cycles",
    "work_ratio": "work of the last cycle over the first",
    "decay_exponent": "decay exponent of the peaks over the cycles",
}
LINES = ("-", "--", "-.", ":")


def loops(trial: MeasuredTrial) -> Picture | None:
    """Torque against angle, the cycles laid over each other."""
    if "peak_torque" not in trial.result["measurands"]:
        return None
    facts = jigs.twist_facts(trial.settings)
    made = jigs.twist_curve(trial.seen, trial.settings)
    cycles = () if made is None else find_cycles(made, facts.limits.amplitude_rad)
    if made is None or not cycles:
        return None
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 4.0), layout="constrained")
        axes = figure.subplots()
        for number, cycle in enumerate(cycles):
            part = slice(cycle.begin, cycle.end + 1)
            shade = 0.75 * number / max(len(cycles) - 1, 1)
            axes.plot(
                np.degrees(made.angle_rad[part]), made.net_nm[part],
                LINES[number % len(LINES)], lw=1.3, color=DARK, alpha=1 - shade,
                label=f"cycle {number + 1}",
            )  # fmt: skip
        axes.set_xlabel("arm angle, degrees (right is positive)")
        axes.set_ylabel("torque of the edge, N·m")
        axes.legend(loc="best", frameon=False, fontsize=8)
        peaks = ", ".join(f"{cycle.largest_nm:.3g}" for cycle in cycles)
        text = (
            f"{trial.name}: torque against arm angle, {len(cycles)} cycles laid over each other. "
            f"Largest torque of each, in newton metres: {peaks}."
        )
        return svg(figure), text


TWIST = Section(
    kind="twist",
    columns=("Largest torque", "Last cycle over first", "Damage found"),
    cells=lambda trial: [
        stated(trial, "peak_torque") + left_out(trial),
        stated(trial, "torque_ratio"),
        damage(trial),
    ],
    words=WORDS,
    formula="torque by the load scale, less the arm's own by the no-load sweep",
    said=lambda trial: stated(trial, "peak_torque", ""),
    picture=loops,
    limits=(
        NOTICE,
        "Wood differs from board to board: interleave the blades on one board with a control.",
        "Half a degree of edge angle can turn chipping into holding: compare blades of one "
        "geometry.",
        ONE_BLADE,
    ),
)
