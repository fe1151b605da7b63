"""The picture of a plan: smallest difference that can be seen against the number of blades."""

import math
from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rig.report.ink import DARK, MARK, STYLE
from rig.study.statistics.data import LOG
from rig.study.statistics.phrases import TWICE, percent
from rig.study.statistics.plan import NAMES, StudyPlan

MARKERS = "osD^vP*X"
TICKS = (1.02, 1.05, 1.1, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, 30.0, 100.0)


def write(plans: Sequence[StudyPlan], path: Path) -> Path:
    """One curve a response, each with its own marker; the wanted difference as a dashed line."""
    with mpl.rc_context({**STYLE, "svg.fonttype": "none"}):
        figure = Figure(figsize=(7.2, 2.6 * len(plans)), layout="constrained")
        for number, plan in enumerate(plans):
            axes = figure.add_subplot(len(plans), 1, number + 1)
            ratio = plan.response.scale == LOG
            told = [row for row in plan.rows if math.isfinite(row.detectable)]
            seen = [row.detectable - 1 if ratio else row.detectable for row in told]
            units = [row.units for row in told]
            axes.plot(units, seen, MARKERS[number % len(MARKERS)] + "-", ms=4, color=DARK)
            wanted = plan.response.smallest
            axes.axhline(wanted - 1 if ratio else wanted, ls="--", lw=1, color=MARK)
            axes.set_title(
                f"{plan.response.name}: smallest difference found 8 times in 10 (dashed: the "
                "difference that matters)",
                fontsize=9,
            )
            axes.set_ylabel("difference" if ratio else f"difference, {plan.response.unit}")
            if ratio:
                _ratios(axes, plan)
            else:
                axes.set_ylim(bottom=0)
            axes.set_xticks(units)
            axes.set_xlabel(NAMES[plan.design.unit])
        figure.savefig(path, format="svg", metadata={"Date": None})
    return path


def _ratios(axes: Axes, plan: StudyPlan) -> None:
    """From per cent to factors on one axis: both ends can be read."""
    found = [row.detectable for row in plan.rows if math.isfinite(row.detectable)]
    seen = [*found, plan.response.smallest]
    axes.set_yscale("log")
    axes.set_yticks(
        [tick - 1 for tick in TICKS],
        [percent(tick) if tick < TWICE else f"{tick:g} times" for tick in TICKS],
    )
    axes.minorticks_off()
    axes.set_ylim((min(seen) - 1) / 1.2, (min(max(seen), TICKS[-1]) - 1) * 1.2)
