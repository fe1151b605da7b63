"""Pictures for the page, as SVG with every meaning in shape as well as in colour."""

from datetime import datetime
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from rig.board.wire import TICK_HZ, Kind
from rig.report.gather import MeasuredTrial
from rig.report.ink import DARK as DARK
from rig.report.ink import FITTED as FITTED
from rig.report.ink import MARK as MARK
from rig.report.ink import STYLE as STYLE
from rig.report.ink import svg as svg

BEFORE_S, AFTER_S = 0.06, 0.75
SPEED_OVER = 5  # samples each side of a speed estimate


def drop(trial: MeasuredTrial) -> tuple[str, str] | None:
    """Height and speed against time of one drop, with the fit and the strikes marked.

    Gives the picture as a data address and its text for those who cannot see it; None when there
    was no strike to put at time zero.
    """
    figures = trial.result["figures"]
    if "contact_tick" not in figures:
        return None
    factor = trial.settings["time_base"]["factor"]
    time_s = (trial.seen[Kind.HEIGHT].ticks - figures["contact_tick"]) / TICK_HZ * factor
    scale = trial.settings["tower"]["wire"]["count_m"]
    height_mm = (trial.seen[Kind.HEIGHT].values - trial.settings["contact"]["counts"]) * scale * 1e3
    begin = np.flatnonzero(height_mm < height_mm[0] - 2.0)
    start = time_s[begin[0]] - BEFORE_S if len(begin) else -0.4
    shown = (time_s >= start) & (time_s <= AFTER_S)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 5.0), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True)
        _heights(upper, time_s[shown], height_mm[shown], trial, factor)
        _speeds(lower, time_s[shown], height_mm[shown], trial, factor)
        lower.set_xlabel("time from first contact, s")
        return svg(figure), _drop_text(trial)


def _fit(trial: MeasuredTrial, factor: float) -> tuple[NDArray[np.float64], Any, Any]:
    """Times of the fitted stretch, and the fitted speed and acceleration at contact."""
    speed = trial.result["measurands"]["impact_speed"]["value"]
    a = trial.result["measurands"]["fall_acceleration"]["value"]
    window = trial.result["figures"]["fit_window_s"] * factor
    return np.linspace(-window, 0.0, 60), speed, a


def _heights(axes: Axes, t: Any, height_mm: Any, trial: MeasuredTrial, factor: float) -> None:
    axes.plot(t, height_mm, ".", ms=2.2, color=DARK, label="measured, 1,000 a second")
    fit_t, speed, a = _fit(trial, factor)
    axes.plot(
        fit_t, 1e3 * (-speed * fit_t - a * fit_t**2 / 2), "-", lw=2.0, color=FITTED,
        label="fit of the free fall",
    )  # fmt: skip
    axes.axhline(0, ls="--", lw=1, color=MARK, label="contact height")
    for number, at in enumerate(_strikes(trial, factor), 1):
        axes.annotate(
            f"strike {number}", (at, 0), (at + 0.015, 0.30 * max(height_mm.max(), 20)),
            arrowprops={"arrowstyle": "->", "color": MARK}, color=MARK,
        )  # fmt: skip
    axes.set_ylabel("height above contact, mm")
    axes.legend(loc="upper right", frameon=False)


def _speeds(axes: Axes, t: Any, height_mm: Any, trial: MeasuredTrial, factor: float) -> None:
    n = SPEED_OVER
    speed = (height_mm[2 * n :] - height_mm[: -2 * n]) / (t[2 * n :] - t[: -2 * n]) / 1e3
    axes.plot(t[n:-n], speed, ".", ms=2.2, color=DARK, label="from the record, over 10 ms")
    fit_t, at_contact, a = _fit(trial, factor)
    axes.plot(fit_t, -(at_contact + a * fit_t), "-", lw=2.0, color=FITTED, label="fit of the fall")
    axes.plot(0, -at_contact, "D", ms=6, color=FITTED, mfc="none", label="speed at contact")
    axes.axhline(0, ls="--", lw=1, color=MARK)
    axes.set_ylabel("speed upward, m/s")
    axes.legend(loc="lower right", frameon=False)


def _strikes(trial: MeasuredTrial, factor: float) -> list[float]:
    """Times of the strikes, seconds from the first."""
    first = trial.result["figures"]["contact_tick"]
    second = trial.result["figures"].get("second_contact_tick")
    later = [] if second is None else [(second - first) / TICK_HZ * factor]
    return [0.0, *later]


def _drop_text(trial: MeasuredTrial) -> str:
    speed = trial.result["measurands"]["impact_speed"]
    count = len(trial.result["figures"] and _strikes(trial, 1.0))
    return (
        f"{trial.name}: height and speed against time. The carriage falls and strikes at "
        f"{speed['value']:.3f} metres a second; {count} strike{'s' if count > 1 else ''} marked."
    )


def chart(points: list[tuple[datetime, dict[str, Any]]], limit: float) -> tuple[str, str] | None:
    """Effective acceleration of each session with its uncertainty, and the band of change."""
    if not points:
        return None
    values = [p["value"] for _, p in points]
    errors = [p["U"] for _, p in points]
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 2.4), layout="constrained")
        axes = figure.subplots()
        x = np.arange(1, len(values) + 1)
        axes.errorbar(x, values, yerr=errors, fmt="o", ms=4, capsize=4, color=DARK)
        base = values[-2] if len(values) > 1 else values[-1]
        axes.axhline(base * (1 + limit), ls="--", lw=1, color=MARK)
        axes.axhline(base * (1 - limit), ls="--", lw=1, color=MARK)
        axes.set_xticks(x, [f"{at:%m-%d %H:%M}" for at, _ in points], rotation=30, ha="right")
        axes.set_ylabel("m/s²")
        axes.set_xlim(0.5, len(values) + 0.5)
        sessions = f"{len(values)} session{'s' * (len(values) != 1)}"
        text = (
            f"Effective acceleration of {sessions}, the last {values[-1]:.3f} metres a "
            f"second squared; dashed lines: {limit:.0%} from the session before."
        )
        return svg(figure), text
