"""The page's section on sharpness."""

import matplotlib as mpl
from matplotlib.figure import Figure

from rig.report.gather import MeasuredTrial
from rig.report.ink import DARK, FITTED, STYLE, Picture, svg
from rig.report.sections import ONE_BLADE, Section, stated


def _grades(trial: MeasuredTrial) -> str:
    means, parts = trial.settings["means"], []
    for kind, answers in trial.settings["grades"].items():
        told = f"{kind}: {answers.count('pass')} of {len(answers)} pass ({means[kind]})"
        if again := answers.count("repeat"):
            told += f", {again} failed and passed on a second try: failed"
        parts.append(told)
    return "; ".join(parts)


def _interval(trial: MeasuredTrial) -> str:
    figures = trial.result["figures"]
    if not trial.settings["readings_n"]:
        return ""
    if "low_n" not in figures:
        return "needs six readings"
    return f"{figures['low_n']:.3g} to {figures['high_n']:.3g} N"


def _force(trial: MeasuredTrial) -> str:
    return stated(trial, "severing_force") if trial.settings["readings_n"] else ""


def _taken(trial: MeasuredTrial) -> str:
    taken = trial.settings["readings_n"]
    return f"{', '.join(f'{value:.4g}' for value in taken)} N" if taken else ""


def readings(trial: MeasuredTrial) -> Picture | None:
    """Every reading in the order taken, with the median."""
    taken = trial.settings["readings_n"]
    if not taken:
        return None
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 2.4), layout="constrained")
        axes = figure.subplots()
        axes.plot(range(1, len(taken) + 1), taken, "o", ms=6, mfc="white", color=DARK)
        axes.axhline(trial.result["measurands"]["severing_force"]["value"], ls="--", lw=1,
                     color=FITTED, label="median")  # fmt: skip
        axes.set_xlabel("reading, in the order taken")
        axes.set_ylabel("to sever, N")
        axes.legend(loc="best", frameon=False, fontsize=8)
        listed = ", ".join(f"{value:.3g}" for value in taken)
        return svg(figure), f"{trial.name}: forces in N in the order taken: {listed}."


def _of_kinds(trial: MeasuredTrial) -> tuple[str, ...]:
    force = "A force compares edges severing the same thread, held the same way."
    grade = "A grade is one person's judgement of one place, by the wording fixed before the start."
    return (force,) * bool(trial.settings["readings_n"]) + (grade,) * bool(trial.settings["grades"])


SHARPNESS = Section(
    kind="sharpness",
    columns=(
        "Severing force", "Readings in the order taken",
        "95 % of the median by the order of the readings, without the gauge", "Grades",
    ),
    cells=lambda trial: [_force(trial), _taken(trial), _interval(trial), _grades(trial)],
    words={"severing_force": "severing force"},
    formula="median of the readings x scale",
    said=lambda trial: stated(trial, "severing_force", "") or _grades(trial),
    picture=readings,
    rests_on="What the probe gave is as typed in; a gauge of force is taken to be right within the "
    "scale error asked for.",
    limits=("Sharp now says nothing of how long it lasts.", ONE_BLADE),
    more_limits=_of_kinds,
    called=lambda trial: "" if trial.settings["readings_n"] else "grades",
)  # fmt: skip
