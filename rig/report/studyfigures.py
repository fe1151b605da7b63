"""Pictures of a study: every blade shown, group by group; shape carries the meaning, not colour."""

from collections import Counter

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rig.quantity import stated
from rig.report import lifefigure
from rig.report.ink import DARK, FITTED, MARK, STYLE, Picture, svg
from rig.study.answers import repeats
from rig.study.answers.answer import Answer
from rig.study.statistics.data import LOG, Response
from rig.study.statistics.lives import LifeResult
from rig.study.statistics.units import BladeMean, in_order

NAME_IN, ROW_IN, LONGEST_IN = 0.17, 0.6, 2.2  # of a blade with its name; of a group
SPREAD = 0.8  # of a group's row that its blades take
NAMED = 40  # blades in a picture, above which their names would hide one another


POINTS = (
    "Circle: mean of a blade's trials, which are the ticks beside it. Bar: uncertainty of "
    "measurement (k = 2), apart from how blades differ. Arrow: the blade survived, its value is "
    "higher. Dashed: mean of the group's blades."
)
LIVES = (
    "Bar: the edge dulled somewhere between its last probe passed (tick) and the first failed. "
    "Arrow: still sharp at the end. Below: share of each group's blades still sharp after so many "
    "cuts; hatched where the probes leave it open."
)


def legend(answer: Answer) -> str:
    """What the marks of the picture mean, in words."""
    return LIVES if isinstance(answer.result, LifeResult) else POINTS


def picture(answer: Answer) -> Picture | None:
    """The blades of one response; None when nothing was measured."""
    if isinstance(answer.result, LifeResult):
        names = [group.name for group in answer.data.groups]
        return lifefigure.picture(answer.result.lives, names)
    if not answer.data.observations:
        return None
    return _points(answer)


def _points(answer: Answer) -> Picture:
    """One row a group: each blade's mean as a circle, its trials as ticks, survivors as arrows."""
    names = [group.name for group in answer.data.groups]
    response = answer.data.response
    blades = in_order(answer.data)
    counts = Counter(blade.group for blade in blades)
    row_in = min(max(ROW_IN, NAME_IN * max(counts.values())), LONGEST_IN)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 1.0 + row_in * len(names)), layout="constrained")
        axes = figure.subplots()
        met: Counter[str] = Counter()
        for blade in blades:
            place = (met[blade.group] + 0.5) / counts[blade.group]
            met[blade.group] += 1
            y = names.index(blade.group) + SPREAD * (place - 0.5)
            x = response.outward(blade.mean)
            trials = [response.outward(value) for value in blade.values]
            axes.plot(_reach(response, blade), [y, y], "-", lw=1.2, color=MARK)
            axes.plot(trials, [y] * len(trials), "|", ms=7, color=MARK)
            if blade.censored:
                axes.plot(x, y, ">", ms=7, color=FITTED)
            else:
                axes.plot(x, y, "o", ms=6, color=DARK, mfc="white")
            if len(blades) <= NAMED:
                axes.annotate(blade.blade, (x, y), (4, 3), textcoords="offset points", fontsize=6.5)
        for row, name in enumerate(names):
            mine = [b for b in blades if b.group == name]
            if mine and not any(b.censored for b in mine):
                mean = response.outward(sum(b.mean for b in mine) / len(mine))
                axes.plot(
                    [mean, mean], [row - SPREAD / 2, row + SPREAD / 2], "--", lw=1, color=FITTED
                )
        unit = response.unit.replace("N.m", "N·m")
        _frame(axes, names, f"{response.name}, {unit}", response.scale == LOG)
        words = (
            f"{response.name} of {len(blades)} blades in {len(names)} groups, in {unit}, every "
            "blade shown with U (k = 2), or from its lowest to its highest trial where those are "
            "further apart than that allows: "
            + "; ".join(
                f"{name}: "
                + ", ".join(
                    f"{b.blade} {'more than ' * b.censored}{_value(response, b)}"
                    for b in blades
                    if b.group == name
                )
                for name in names
            )
        )
        return svg(figure), words


def _reach(response: Response, blade: BladeMean) -> tuple[float, float]:
    """Ends of a blade's bar."""
    if repeats.differ(blade):
        return repeats.ends(blade, response)
    x = response.outward(blade.mean)
    reach = 2 * (blade.u * x if response.scale == LOG else blade.u)
    return x - reach, x + reach


def _value(response: Response, blade: BladeMean) -> str:
    value = response.outward(blade.mean)
    if repeats.differ(blade):
        return f"{value:.4g} ({repeats.between(blade, response)})"
    u = blade.u * value if response.scale == LOG else blade.u
    return stated(value, 2 * u) if u > 0 else f"{value:.3g}"


def _frame(axes: Axes, names: list[str], label: str, ratio: bool) -> None:
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlabel(label)
    low, high = axes.get_xlim()
    if ratio and low > 0 and high / low > 3:
        axes.set_xscale("log")
    axes.set_xlim(*np.array(axes.get_xlim()))
