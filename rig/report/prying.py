"""The page's section on pry torque to tip failure."""

import math
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from rig.guide import jigs
from rig.report.figures import DARK, FITTED, MARK, STYLE, svg
from rig.report.gather import MeasuredTrial
from rig.report.sections import ONE_BLADE, Picture, Section, left_out, quantity, stated

WORDS = {
    "peak_torque": "peak torque",
    "break_torque": "torque at the break",
    "onset_torque": "torque at the onset of bending",
    "failure_angle": "angle at failure, from the pre-load",
    "energy_to_failure": "energy to failure, from the pre-load",
    "stiffness": "stiffness of the straight part",
    "set_angle": "permanent set",
    "torque_at_angle": "torque at the stated angle",
    "bending_moment": "bending moment at the section",
    "index": "index 6 M/(b t²), not a stress",
}
BOUND = "at least "


def _peak(trial: MeasuredTrial) -> str:
    bound = BOUND if trial.result["censored"] else ""
    return bound + stated(trial, "peak_torque")


def _said(trial: MeasuredTrial) -> str:
    found = trial.result["measurands"].get("peak_torque")
    if found is None:
        return ""
    return f"{BOUND * bool(trial.result['censored'])}{quantity(found)} ({trial.result['kind']})"


NO_ANGLE = {
    ("survived", "right"): "no failure",
    ("bend", "right"): "not reached: the torque still rose",
    ("bend", ""): "no one angle: it bent on at its largest torque",
}
"""Why there is no angle at failure, by what happened and whether the torque is a bound."""


def _angle(trial: MeasuredTrial) -> str:
    why = NO_ANGLE.get((trial.result["kind"], trial.result["censored"]), "none can be stated")
    return stated(trial, "failure_angle", why)


def _seen(trial: MeasuredTrial) -> str:
    seen = trial.details.get("tip", "not entered")
    return f"{trial.result['kind'] or 'nothing loaded'}; seen: {seen}"


def curve(trial: MeasuredTrial) -> Picture | None:
    """Torque against angle from the pre-load, with straight part, onset and peak marked."""
    found = trial.result["measurands"].get("peak_torque")
    if found is None:
        return None
    made = jigs.pry_curve(trial.seen, trial.settings)
    if made is None:
        return None
    preload_nm = trial.settings["jig"]["pry"]["preload_nm"]
    angle, torque = _from_preload(made.angle_rad, made.net_nm, preload_nm)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 3.8), layout="constrained")
        axes = figure.subplots()
        axes.plot(np.degrees(angle), torque, ".", ms=3, color=DARK, label="measured, 80 a second")
        _mark(axes, trial, angle, torque)
        axes.set_xlabel("arm angle from the pre-load point, degrees")
        axes.set_ylabel("torque of the tip, N·m")
        axes.legend(loc="best", frameon=False)
        return svg(figure), _words(trial, quantity(found))


def _from_preload(
    angle: NDArray[np.float64], torque: NDArray[np.float64], preload_nm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Angles counted from where the torque last rose through the pre-load before its peak."""
    peak = int(np.argmax(torque))
    below = np.flatnonzero(torque[: peak + 1] < preload_nm)
    start = int(below[-1]) if len(below) else 0
    return angle - angle[start], torque


def _mark(axes: Axes, trial: MeasuredTrial, angle: Any, torque: Any) -> None:
    of, figures = trial.result["measurands"], trial.result["figures"]
    peak = int(np.argmax(torque))
    if "stiffness" in of and "straight_low_nm" in figures:
        k, low, high = of["stiffness"]["value"], figures["straight_low_nm"], figures[
            "straight_high_nm"]  # fmt: skip
        rising = (torque >= low) & (torque <= high) & (np.arange(len(torque)) <= peak)
        origin = float(np.mean(angle[rising] - torque[rising] / k)) if rising.any() else 0.0
        span = np.array([low, high])
        axes.plot(
            np.degrees(origin + span / k), span, "-", lw=3, color=FITTED, label="straight part"
        )
        if "onset_torque" in of:
            offset = math.radians(trial.settings["jig"]["pry"]["onset_offset_deg"])
            onset = of["onset_torque"]["value"]
            ends = np.array([0.0, onset])
            axes.plot(np.degrees(origin + offset + ends / k), ends, "--", lw=1, color=FITTED,
                      label="the same, shifted by the offset")  # fmt: skip
            axes.plot(math.degrees(origin + offset + onset / k), onset, "s", ms=7, mfc="none",
                      color=MARK, label="onset")  # fmt: skip
    axes.plot(math.degrees(angle[peak]), of["peak_torque"]["value"], "D", ms=7, mfc="none",
              color=MARK, label="peak")  # fmt: skip


def _words(trial: MeasuredTrial, peak: str) -> str:
    bound = BOUND * bool(trial.result["censored"])
    text = f"{trial.name}: torque against arm angle. It rises to {bound}{peak}"
    onset = trial.result["measurands"].get("onset_torque")
    if onset is not None:
        text += f"; bending begins at {quantity(onset)}"
    return f"{text}. Kind: {trial.result['kind']}."


PRY = Section(
    kind="pry",
    columns=("What happened", "Peak torque", "Angle at failure"),
    cells=lambda trial: [_seen(trial) + left_out(trial), _peak(trial), _angle(trial)],
    words=WORDS,
    formula="torque by the load scale, less the arm's own by the no-load sweep",
    said=_said,
    picture=curve,
    limits=(
        "A tip that survived gives a bound (at least), never a failure torque.",
        "The index compares tips of unlike section. It is no stress: the tip has no exact section.",
        "Torque goes as the thickness squared: 5 % in thickness is 10 % in torque.",
        "Spring-back is stiffness, not heat treatment.",
        "No published standard covers a pried tip. The numbers compare blades on this jig, in this "
        "wood, at this depth.",
        ONE_BLADE,
    ),
)
