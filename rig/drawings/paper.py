"""A sheet of paper in millimetres: what is drawn on it comes out of the printer at that size."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

Spot = tuple[float, float]
MM = 1 / 25.4
SIZES = ((297, 210), (420, 297), (594, 420), (841, 594), (1189, 841))
"""A4 to A0, lying (ISO 216)."""
THIN, THICK = 0.35, 0.9  # points
SMALL, BIG = 7.0, 11.0  # points: 2.5 and 3.9 mm
BAR_MM = 100.0
STYLE: Any = {"svg.fonttype": "none", "svg.hashsalt": "bladerig", "font.family": "DejaVu Sans",
         "hatch.linewidth": 0.3}  # fmt: skip


def size_for(wide: float, high: float) -> Spot:
    """The smallest standard sheet that takes so much; one of its own where that wastes most."""
    own = float(round(wide + 5)), float(round(high + 5))
    for long, short in SIZES:
        for page in ((float(long), float(short)), (float(short), float(long))):
            if wide <= page[0] and high <= page[1]:
                wasteful = page[0] > 420 and page[0] * page[1] > 2 * own[0] * own[1]
                return own if wasteful else page
    return own


@dataclass
class Paper:
    """A sheet under way; every length in millimetres from its lower left corner."""

    wide: float
    high: float
    figure: Figure = field(init=False)
    ax: Axes = field(init=False)

    def __post_init__(self) -> None:
        with matplotlib.rc_context(STYLE):
            self.figure = Figure(figsize=(self.wide * MM, self.high * MM))
            self.ax = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.ax.set_xlim(0, self.wide)
        self.ax.set_ylim(0, self.high)
        self.ax.axis("off")

    def line(self, points: Iterable[Spot], wide: float = THIN, dash: str = "-") -> None:
        """A line through all points."""
        x, y = zip(*points, strict=True)
        self.ax.plot(x, y, dash, color="black", linewidth=wide, solid_capstyle="butt")

    def shape(self, points: Iterable[Spot], fill: str = "none", **more: Any) -> None:
        """A closed outline."""
        self.ax.add_patch(
            Polygon(tuple(points), closed=True, facecolor=fill, edgecolor="black",
                    linewidth=more.pop("linewidth", THICK), **more)
        )  # fmt: skip

    def circle(self, at: Spot, dia: float, dash: str = "-") -> None:
        """A hole."""
        self.ax.add_patch(
            Circle(
                at, dia / 2, facecolor="none", edgecolor="black", linewidth=THICK, linestyle=dash
            )
        )

    def slot(self, at: Spot, dia: float, long: float, upright: bool) -> None:
        """A slot: the outline of a cutter that goes `long` along."""
        dx, dy = (0.0, long / 2) if upright else (long / 2, 0.0)
        x, y = at
        for end in (-1, 1):
            self.circle((x + end * dx, y + end * dy), dia)
        off = (dia / 2, 0.0) if upright else (0.0, dia / 2)
        for end in (-1, 1):
            u, v = end * off[0], end * off[1]
            self.line(((x - dx + u, y - dy + v), (x + dx + u, y + dy + v)), wide=THICK)

    def cross(self, at: Spot, arm: float) -> None:
        """The centre lines of a hole."""
        x, y = at
        self.line(((x - arm, y), (x + arm, y)))
        self.line(((x, y - arm), (x, y + arm)))

    def text(self, at: Spot, words: str, size: float = SMALL, **more: Any) -> None:
        """One line of text, its left lower corner at the point unless told otherwise."""
        self.ax.text(*at, words, fontsize=size, color="black", **more)

    def dimension(self, start: Spot, end: Spot, words: str) -> None:
        """A dimension line with arrow heads and its figure above it."""
        arrow = {"arrowstyle": "<|-|>,head_length=0.25,head_width=0.08", "linewidth": THIN,
                 "facecolor": "black", "shrinkA": 0, "shrinkB": 0,
                 "mutation_scale": 10}  # fmt: skip
        self.ax.annotate("", xy=end, xytext=start, arrowprops=arrow)
        x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        if start[0] == end[0]:
            self.text((x - 1, y), words, rotation=90, ha="right", va="center")
        else:
            self.text((x, y + 1), words, ha="center")

    def print_check(self, at: Spot) -> None:
        """The bar of 100 mm that tells whether the printer kept the size."""
        x, y = at
        self.line(((x, y), (x + BAR_MM, y)), wide=1.2)
        for n in range(11):
            self.line(((x + 10 * n, y), (x + 10 * n, y + (4 if n % 5 == 0 else 2))))
        self.text((x, y - 4), "print check: this bar is 100 mm long; print at 100 %, not 'fit'")

    def svg(self) -> str:
        """The sheet as SVG; the same bytes on every run."""
        out = BytesIO()
        with matplotlib.rc_context(STYLE):
            self.figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
        return out.getvalue().decode()
