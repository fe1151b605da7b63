"""The page's section on hardness readings."""

import matplotlib as mpl
from matplotlib.figure import Figure

from rig.report.figures import DARK, FITTED, MARK, STYLE, svg
from rig.report.gather import MeasuredTrial
from rig.report.sections import ONE_BLADE, Picture, Section, quantity, stated


def readings(trial: MeasuredTrial) -> Picture | None:
    """Every reading in the order taken, blade and block."""
    piece, block = trial.settings["piece"], trial.settings["block"]
    parts = (
        ("block before", block["before_hrc"], "s", MARK),
        ("blade", piece["readings_hrc"], "o", DARK),
        ("block after", block["after_hrc"], "D", MARK),
    )
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 2.6), layout="constrained")
        axes = figure.subplots()
        at = 0
        for name, values, marker, color in parts:
            places = range(at + 1, at + 1 + len(values))
            axes.plot(places, values, marker, ms=6, mfc="white", color=color, label=name)
            at += len(values)
        axes.axhline(
            block["certified_hrc"], ls="--", lw=1, color=FITTED, label="block's certificate"
        )
        axes.set_xlabel("reading, in the order taken")
        axes.set_ylabel("HRC")
        axes.legend(loc="best", frameon=False, fontsize=8)
        told = "; ".join(
            f"{name} {', '.join(f'{v:g}' for v in values)}" for name, values, *_ in parts
        )
        return svg(figure), f"{trial.name}: readings in HRC in the order taken: {told}."


def _said(trial: MeasuredTrial) -> str:
    found = trial.result["measurands"].get("hardness")
    return "" if found is None else quantity(found)


def _range(trial: MeasuredTrial) -> str:
    found = trial.result["figures"].get("range_hrc")
    return "" if found is None else f"{found:.1f} HRC"


HARDNESS = Section(
    kind="hardness",
    columns=("Hardness", "Range of the readings"),
    cells=lambda trial: [stated(trial, "hardness"), _range(trial)],
    words={"hardness": "hardness"},
    formula="mean of the blade + (certificate - mean of the block) + correction of a round surface",
    said=_said,
    picture=readings,
    rests_on="They rest on the test block's certificate, as it was typed in.",
    limits=(
        "Two blades are not different because their numbers are: compare the difference with its "
        "uncertainty.",
        "A tester reads the flat or the tang, not the edge.",
        "Hardness says nothing of toughness, nor whether the steel was overheated.",
        ONE_BLADE,
    ),
)
