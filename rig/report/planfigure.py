"""The picture of a plan: smallest difference that can be seen against the number of blades."""

from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
from matplotlib.figure import Figure

from rig.report.ink import DARK, MARK, STYLE
from rig.study.data import LOG
from rig.study.plan import StudyPlan

MARKERS = "osD^vP*X"


def write(plans: Sequence[StudyPlan], path: Path) -> Path:
    """One curve a response, each with its own marker; the wanted difference as a dashed line."""
    with mpl.rc_context({**STYLE, "svg.fonttype": "none"}):
        figure = Figure(figsize=(7.2, 2.6 * len(plans)), layout="constrained")
        for number, plan in enumerate(plans):
            axes = figure.add_subplot(len(plans), 1, number + 1)
            ratio = plan.response.scale == LOG
            seen = [100 * (row.detectable - 1) if ratio else row.detectable for row in plan.rows]
            units = [row.units for row in plan.rows]
            axes.plot(units, seen, MARKERS[number % len(MARKERS)] + "-", ms=4, color=DARK)
            wanted = plan.response.smallest
            axes.axhline(100 * (wanted - 1) if ratio else wanted, ls="--", lw=1, color=MARK)
            axes.set_title(
                f"{plan.response.name} (dashed: the difference that matters)", fontsize=9
            )
            axes.set_ylabel("smallest seen, %" if ratio else f"smallest seen, {plan.response.unit}")
            axes.set_ylim(bottom=0)
            axes.set_xlabel("blades in each group")
        figure.savefig(path, format="svg", metadata={"Date": None})
    return path
