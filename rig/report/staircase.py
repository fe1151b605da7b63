"""The page's section on staircases."""

import matplotlib as mpl
from matplotlib.figure import Figure

from rig.guide.assumed import too_narrow
from rig.report.gather import MeasuredTrial
from rig.report.ink import DARK, FITTED, MARK, STYLE, Picture, quantity, svg
from rig.report.sections import ONE_BLADE, Section

BOUND = {"right": "above", "left": "below"}


def steps(trial: MeasuredTrial) -> Picture | None:
    """Energy of each drop in its order: a cross failed, a circle held."""
    drops = trial.settings["drops"]
    if not drops:
        return None
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 3.0), layout="constrained")
        axes = figure.subplots()
        levels = [drop["level_j"] for drop in drops]
        axes.plot(range(1, len(drops) + 1), levels, "-", lw=0.8, color=MARK)
        for failed, marker, name in ((True, "x", "failed"), (False, "o", "held")):
            at = [n for n, drop in enumerate(drops, 1) if drop["failed"] is failed]
            axes.plot(
                at, [levels[n - 1] for n in at], marker, ms=7, mfc="white", color=DARK, label=name
            )
        found = trial.result["measurands"].get("failure_energy")
        if found is not None:
            axes.axhline(found["value"], ls="--", lw=1, color=FITTED, label=_said(trial))
        axes.set_xlabel("valid drop")
        axes.set_ylabel("energy wanted, J")
        axes.legend(loc="best", frameon=False, fontsize=8)
        told = ", ".join(
            f"{drop['level_j']:.3g} {'failed' if drop['failed'] else 'held'}" for drop in drops
        )
        return svg(figure), f"{trial.name}: energies in J in the order dropped: {told}."


def _said(trial: MeasuredTrial) -> str:
    found = trial.result["measurands"].get("failure_energy")
    if found is None:
        return ""
    bound = BOUND.get(trial.result["censored"])
    return quantity(found) if bound is None else f"{bound} {found['value']:.3g} J"


def _void(trial: MeasuredTrial) -> str:
    void = trial.settings["void"]
    return "; ".join(f"{one['trial']}: {', '.join(one['reasons'])}" for one in void) or "none"


def _other(trial: MeasuredTrial) -> str:
    figures = trial.result["figures"]
    known = {"Dixon-Mood": figures.get("dixon_mood_j"), "average": figures.get("average_j")}
    told = [f"{name} {value:.3g} J" for name, value in known.items() if value is not None]
    return ", ".join(told) or "none"


def _counted(trial: MeasuredTrial) -> str:
    figures = trial.result["figures"]
    if not figures:
        return "none"
    cautions = [f"mind: {text}" for text in trial.result["cautions"]]
    return "; ".join([f"{figures['drops']}, {figures['failed']} failed", *cautions])


STAIRCASE = Section(
    kind="staircase",
    columns=("Half fail at", "By other formulae", "Drops", "Drops that do not count"),
    cells=lambda t: [_said(t) or "none can be stated", _other(t), _counted(t), _void(t)],
    words={"failure_energy": "energy at which half of the sites fail"},
    formula="level by maximum likelihood × mean of measured over wanted energy",
    said=_said,
    picture=steps,
    limits=(
        "Half of the sites fail at this energy; one in six still fails one scatter below it.",
        "Sites of one edge are not blades: for a study this is one value of one blade.",
        "No impact force is reported; this rig does not measure one.",
        ONE_BLADE,
    ),
    hedged=lambda trial: too_narrow(trial.result),
)
