"""A fixture put together, to scale: from the front, cut through the middle, and from the side."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from rig.drawings.paper import BIG, SMALL, THIN, Paper, Spot
from rig.geometry.placed import Assembly, Body
from rig.geometry.shapes import Prism

SCALES = (1, 2, 2.5, 4, 5, 10)
ROOM_MM = (430.0, 340.0)
"""Of all three views on the sheet; the scale is the largest that fits in there."""
GAP, LEGEND, ROW, TITLE = 44.0, 150.0, 5.2, 30.0
HATCH = {"steel": "////", "aluminium": "\\\\\\\\", "brass": "xx", "hardwood": "--", "plywood": "--"}
SHADE = {"hard steel": "#c9ced3", "steel": "#dfe2e5", "aluminium": "#eef0f2", "brass": "#e9dcb0",
         "hardwood": "#efe6d2", "plywood": "#f4eedd"}  # fmt: skip


@dataclass(frozen=True)
class Shown:
    """A body's outline in a view, and how near it is to who looks."""

    body: Body
    points: tuple[Spot, ...]
    near: float


def front(solid: Prism) -> tuple[Spot, ...]:
    """Seen along the depth: x across, z up."""
    return solid.points


def side(solid: Prism) -> tuple[Spot, ...]:
    """Seen from the right: y across, z up."""
    low, high = solid.span("z")
    return ((solid.y0, low), (solid.y1, low), (solid.y1, high), (solid.y0, high))


@dataclass(frozen=True)
class Look:
    """A way to look at a fixture: how a solid appears, how near it is, whether it is seen."""

    title: str
    see: Callable[[Prism], tuple[Spot, ...]]
    near: Callable[[Prism], float]
    seen: Callable[[Prism], bool]


LOOKS = (
    Look("from the front", front, lambda s: -s.y0, lambda s: True),
    Look("section in the middle", front, lambda s: -_area(s), lambda s: s.y0 <= 0 <= s.y1),
    Look("from the right", side, lambda s: s.span("x")[1], lambda s: True),
)


def _shown(made: Assembly, pose: int, look: Look) -> list[Shown]:
    solids = made.at(pose)
    seen = [
        Shown(body, look.see(solids[n]), look.near(solids[n]))
        for n, body in enumerate(made.bodies)
        if look.seen(solids[n])
    ]
    return sorted(seen, key=lambda one: one.near)


def draw(name: str, made: Assembly, pose: int) -> Paper:
    """The three views with item numbers, and the list.

    Args:
        name: for the title.
        made: the fixture.
        pose: which of its poses is shown.
    """
    shown = {look.title: _shown(made, pose, look) for look in LOOKS}
    boxes = {title: _extent(seen) for title, seen in shown.items()}
    wide, high = sum(b[2] - b[0] for b in boxes.values()), max(b[3] - b[1] for b in boxes.values())
    scale = next((s for s in SCALES if wide / s <= ROOM_MM[0] and high / s <= ROOM_MM[1]), 20)
    items = list(dict.fromkeys(body.key for body in made.bodies))
    rows = ROW * (len(items) + 2)
    paper = Paper(
        round(wide / scale + 5 * GAP + LEGEND), round(max(high / scale + 70, rows + 14) + TITLE)
    )
    x, base, told = GAP, TITLE + 24, set[str]()
    for title, seen in shown.items():
        left, low, right, top = boxes[title]
        place = _placer(x - left / scale, base - low / scale, scale)
        _view(paper, seen, place, hatched=title.startswith("section"))
        span = (x, x + (right - left) / scale, base, base + (top - low) / scale)
        told |= _balloons(paper, made, seen, place, span, told)
        paper.text((x, base - 10), f"{title}, 1:{scale:g}", size=SMALL + 1)
        paper.dimension((x, base - 5), (span[1], base - 5), f"{right - left:.0f}")
        x = span[1] + 1.5 * GAP
    _legend(paper, made, items, (paper.wide - LEGEND, paper.high - 14))
    paper.text((GAP / 2, 20), f"{name.replace('_', ' ')}: put together, 1:{scale:g}", size=BIG)
    paper.print_check((GAP / 2, 10))
    return paper


def _placer(dx: float, dy: float, scale: float) -> Callable[[Spot], Spot]:
    return lambda spot: (dx + spot[0] / scale, dy + spot[1] / scale)


def _area(solid: Prism) -> float:
    (x0, x1), (z0, z1) = solid.span("x"), solid.span("z")
    return (x1 - x0) * (z1 - z0)


def _extent(seen: list[Shown]) -> tuple[float, float, float, float]:
    spots = [spot for one in seen for spot in one.points]
    x, y = [s[0] for s in spots], [s[1] for s in spots]
    return min(x), min(y), max(x), max(y)


def _view(paper: Paper, seen: list[Shown], place: Callable[[Spot], Spot], hatched: bool) -> None:
    for one in seen:
        stuff = one.body.piece.material
        if one.body.piece.glass:
            paper.shape(map(place, one.points), linewidth=THIN, linestyle="--")
            continue
        more = {"hatch": HATCH.get(one.body.piece.stuff, "")} if hatched else {}
        paper.shape(map(place, one.points), fill=SHADE.get(stuff, "white"), linewidth=0.5, **more)


def _balloons(
    paper: Paper, made: Assembly, seen: list[Shown], place: Callable[[Spot], Spot],
    span: tuple[float, float, float, float], told: set[str],
) -> set[str]:  # fmt: skip
    """A number for every part that has none yet, in a column at either side of the view."""
    x0, x1, y0, y1 = span
    fresh: dict[str, Spot] = {}
    for one in seen:
        if one.body.key not in told:
            fresh[one.body.key] = place(_middle(one.points))
    columns: dict[bool, list[tuple[str, Spot]]] = {True: [], False: []}
    for key, spot in fresh.items():
        columns[spot[0] < (x0 + x1) / 2].append((key, spot))
    for at_left, column in columns.items():
        column.sort(key=lambda pair: pair[1][1])
        x = x0 - 13 if at_left else x1 + 13
        for y, (key, spot) in zip(_spread([s[1] for _, s in column], y0, y1), column, strict=True):
            _ball(paper, made.fixture.piece[key].item, (x, y), spot)
    return set(fresh)


def _middle(points: tuple[Spot, ...]) -> Spot:
    return (sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points))


BALL = 6.4


def _spread(wanted: list[float], low: float, high: float) -> Iterator[float]:
    """Heights near those wanted, in their order, no two nearer than a ball."""
    count = len(wanted)
    step = min(BALL, (high - low + 40) / max(1, count))
    last = low - 20 - step
    for n, y in enumerate(wanted):
        ceiling = high + 20 - step * (count - 1 - n)
        last = max(last + step, min(y, ceiling))
        yield last


def _ball(paper: Paper, number: int, at: Spot, to: Spot) -> None:
    paper.line((at, to), wide=THIN)
    paper.circle(to, 0.9)
    paper.ax.text(*at, str(number), fontsize=SMALL, ha="center", va="center", color="black",
                  bbox={"boxstyle": "circle,pad=0.25", "fc": "white", "ec": "black",
                        "linewidth": 0.6})  # fmt: skip


def _legend(paper: Paper, made: Assembly, items: list[str], at: Spot) -> None:
    x, y = at
    pieces = sorted((made.fixture.piece[key] for key in items), key=lambda piece: piece.item)
    for row, piece in enumerate(pieces):
        name = piece.name if len(piece.name) < 66 else piece.name[:63] + "..."
        paper.text((x, y - ROW * row), str(piece.item), ha="right")
        paper.text((x + 3, y - ROW * row), f"{piece.count} x {name}")
