"""Edge lives of a study: bars from last pass to first fail, and the share still sharp by group."""

from collections.abc import Sequence
from math import inf

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rig.measure.life import Life, by_group, turnbull
from rig.report.ink import DARK, FITTED, MARK, STYLE, Picture, svg

ROW_IN, THIN_IN = 0.29, 0.07
NAMED = 30  # blades that each have a name on the picture
BEYOND = 1.08  # of the longest life: where arrows of survivors end
LINES = ("-", "--", "-.", ":")
HATCHES = ("///", "\\\\\\", "...", "xxx")


def picture(lives: Sequence[Life], names: Sequence[str]) -> Picture:
    """Every life, group by group, and below the curves of the groups."""
    told = sorted(lives, key=lambda life: (names.index(life.group), life.specimen))
    longest = max(life.last_pass_cuts if life.survived else life.first_fail_cuts for life in told)
    many = len(told) > NAMED
    bars_in = 0.9 + (THIN_IN if many else ROW_IN) * len(told)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, bars_in + 2.8), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(bars_in, 2.8))
        _bars(upper, told, longest, many)
        _curves(lower, told, names, longest)
        lower.set_xlabel("cuts")
        lower.set_xlim(0, longest * (BEYOND + 0.02))
        return svg(figure), _words(told, names)


def _bars(axes: Axes, lives: Sequence[Life], longest: float, many: bool) -> None:
    for row, life in enumerate(lives):
        low = life.last_pass_cuts
        if life.survived:
            axes.plot([low, longest * BEYOND], [row, row], "--", lw=1.2, color=MARK)
            axes.plot(longest * BEYOND, row, ">", ms=6, color=MARK)
        else:
            axes.plot([low, life.first_fail_cuts], [row, row], "-", lw=2 if many else 5,
                      color=DARK, solid_capstyle="butt")  # fmt: skip
        axes.plot(low, row, "|", ms=10, color=FITTED)
    if many:  # one name a group, at its first blade
        firsts = [
            at for at in range(len(lives)) if not at or lives[at].group != lives[at - 1].group
        ]
        axes.set_yticks(firsts, [lives[at].group for at in firsts])
    else:
        axes.set_yticks(range(len(lives)), [f"{one.specimen} ({one.group})" for one in lives])
    axes.set_title("each blade, from the last probe passed to the first one failed", fontsize=9)
    axes.invert_yaxis()


def _curves(axes: Axes, lives: Sequence[Life], names: Sequence[str], longest: float) -> None:
    """Turnbull's estimate of the share still sharp: a band where the probes leave it open."""
    at = np.unique([0.0, *(c for life in lives for c in (life.last_pass_cuts,
                    life.first_fail_cuts) if c != inf), longest * BEYOND])  # fmt: skip
    grid = np.unique(np.concatenate([at, np.nextafter(at, -inf)[1:], np.nextafter(at, inf)]))
    for number, (name, own) in enumerate(by_group(lives).items()):
        shares = np.array([turnbull(own).sharp(float(x)) for x in grid])
        line = LINES[names.index(name) % len(LINES)]
        axes.plot(grid, 100 * shares[:, 1], line, lw=1.4, color=DARK, label=name)
        axes.plot(grid, 100 * shares[:, 0], line, lw=1.4, color=DARK)
        axes.fill_between(
            grid, 100 * shares[:, 0], 100 * shares[:, 1], facecolor="none", edgecolor=MARK,
            alpha=0.4, hatch=HATCHES[number % len(HATCHES)], lw=0,
        )  # fmt: skip
    axes.set_ylabel("still sharp, %")
    axes.set_ylim(-3, 103)
    axes.legend(loc="best", frameon=False, fontsize=8)


def _words(lives: Sequence[Life], names: Sequence[str]) -> str:
    bars = "; ".join(f"{life.specimen} of {life.group}: {life}" for life in lives)
    groups = by_group(lives)
    halves = []
    for name in names:
        if name in groups:
            low, high = turnbull(groups[name]).median()
            end = "more" if high == inf else f"{high:.0f}"
            halves.append(f"{name} between {low:.0f} and {end}")
    return f"Edge lives as intervals: {bars}. Half of the blades dull, cuts: {'; '.join(halves)}."
