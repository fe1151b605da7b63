"""Pictures of a study: every blade shown, group by group; shape carries the meaning, not colour."""

from collections import Counter

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rig.report.ink import DARK, FITTED, MARK, STYLE, Picture, svg
from rig.study.answer import Answer
from rig.study.data import LOG
from rig.study.lives import LifeResult
from rig.study.units import layout

ROW_IN, THIN_IN = 0.42, 0.05
NAMED = 40  # blades in a picture, above which their names would hide one another


def picture(answer: Answer) -> Picture | None:
    """The blades of one response; None when nothing was measured."""
    if isinstance(answer.result, LifeResult):
        return _lives(answer, answer.result)
    if not answer.data.observations:
        return None
    return _points(answer)


def _points(answer: Answer) -> Picture:
    """One row a group: each blade's mean as a circle, its trials as ticks, survivors as arrows."""
    names = [group.name for group in answer.data.groups]
    response = answer.data.response
    blades = layout(answer.data).blades
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 1.0 + ROW_IN * 1.4 * len(names)), layout="constrained")
        axes = figure.subplots()
        counts = Counter(blade.group for blade in blades)
        met: Counter[str] = Counter()
        for blade in blades:
            place = (met[blade.group] + 0.5) / counts[blade.group]
            met[blade.group] += 1
            y = names.index(blade.group) + 0.5 * (place - 0.5)
            x = response.outward(blade.mean)
            trials = [response.outward(value) for value in blade.values]
            axes.plot(trials, [y] * len(trials), "|", ms=7, color=MARK)
            if blade.censored:
                axes.plot(x, y, ">", ms=7, color=FITTED)
            else:
                axes.plot(x, y, "o", ms=6, color=DARK, mfc="white")
            if len(blades) <= NAMED:
                axes.annotate(blade.blade, (x, y), (4, 3), textcoords="offset points", fontsize=6.5)
        _frame(axes, names, f"{response.name}, {response.unit}", response.scale == LOG)
        words = (
            f"{response.name} of {len(blades)} blades in {len(names)} groups, every blade shown: "
            + "; ".join(
                f"{name}: "
                + ", ".join(
                    f"{b.blade} {'more than ' * b.censored}{response.outward(b.mean):.3g}"
                    for b in blades
                    if b.group == name
                )
                for name in names
            )
        )
        return svg(figure), words


def _lives(answer: Answer, result: LifeResult) -> Picture:
    """Bars from the last pass to the first fail; an arrow where the edge was still sharp."""
    names = [group.name for group in answer.data.groups]
    lives = sorted(result.lives, key=lambda life: (names.index(life.group), life.specimen))
    longest = max(life.last_pass_cuts if life.survived else life.first_fail_cuts for life in lives)
    with mpl.rc_context(STYLE):
        many = len(lives) > NAMED
        height = 1.0 + (THIN_IN if many else 0.7 * ROW_IN) * len(lives)
        figure = Figure(figsize=(7.2, height), layout="constrained")
        axes = figure.subplots()
        for row, life in enumerate(lives):
            low = life.last_pass_cuts
            if life.survived:
                axes.plot([low, longest * 1.08], [row, row], "--", lw=1.2, color=MARK)
                axes.plot(longest * 1.08, row, ">", ms=6, color=MARK)
            else:
                axes.plot([low, life.first_fail_cuts], [row, row], "-", lw=2 if many else 5,
                          color=DARK,
                          solid_capstyle="butt")  # fmt: skip
            axes.plot(low, row, "|", ms=10, color=FITTED)
        labels = [f"{life.specimen} ({life.group})" for life in lives]
        places = [names.index(life.group) for life in lives]
        if many:  # one name a group, at its first blade
            firsts = [at for at in range(len(lives)) if not at or places[at] != places[at - 1]]
            axes.set_yticks(firsts, [lives[at].group for at in firsts])
        else:
            axes.set_yticks(range(len(lives)), labels)
        axes.set_xlabel("cuts, from the last probe passed to the first one failed")
        axes.set_xlim(left=0)
        axes.invert_yaxis()
        text = "Edge lives as intervals: " + "; ".join(
            f"{life.specimen} of {life.group}: {life}" for life in lives
        )
        return svg(figure), text


def _frame(axes: Axes, names: list[str], label: str, ratio: bool) -> None:
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlabel(label)
    low, high = axes.get_xlim()
    if ratio and low > 0 and high / low > 3:
        axes.set_xscale("log")
    axes.set_xlim(*np.array(axes.get_xlim()))
