"""The dimensioned sheet of one part, 1:1: views, dimensions, hole table, title, print check."""

from collections.abc import Iterator
from dataclasses import dataclass

from rig.drawings.paper import BIG, SMALL, THIN, Paper, Spot, size_for
from rig.geometry.parts import ACROSS, Hole, Piece

MARGIN, GAP, ROW = 16.0, 22.0, 4.6
COLUMNS = (0.0, 7.0, 45.0, 59.0, 73.0, 97.0)
TABLE_MM = 124.0
TITLE_MM = 34.0
AXES = "xyz"
STACK_MM = 330.0
"""Views wider than this together stand one below the other."""


@dataclass(frozen=True)
class View:
    """A face of a part, lying long side across.

    Attributes:
        face: "xy", "xz" or "yz" of the fixture's axes.
        wide, high: of the face as drawn.
        outline: corners from its lower left corner.
        rows: holes with their place from there.
        round: a circle. turned: laid on its side.
    """

    face: str
    wide: float
    high: float
    outline: tuple[Spot, ...]
    rows: tuple[tuple[Hole, Spot], ...]
    round: bool = False
    turned: bool = False


def views(piece: Piece) -> list[View]:
    """The main face first, then others that have holes; of a round bar its length too."""
    faces = [piece.face, *sorted({hole.face for hole in piece.holes if hole.face} - {piece.face})]
    if piece.form != "box" and len(faces) == 1:
        faces.append("xz" if piece.face != "xz" else "xy")
    return [_view(piece, face) for face in faces]


def _view(piece: Piece, face: str) -> View:
    wide, high = (side for n, side in enumerate(piece.size_mm) if n != ACROSS[face])
    corners = piece.outline_mm if face == piece.face and piece.outline_mm else _corners(wide, high)
    left, low = min(x for x, _ in corners), min(y for _, y in corners)
    holes = [
        (hole, (u - left, v - low))
        for hole in piece.holes if (hole.face or piece.face) == face for u, v in hole.at_mm
    ]  # fmt: skip
    shape = tuple((x - left, y - low) for x, y in corners)
    turned = high > wide and high > 180
    if turned:  # the paper is wide
        holes = [(hole, (v, wide - u)) for hole, (u, v) in holes]
        shape, wide, high = tuple((y, wide - x) for x, y in shape), high, wide
    ends = {"round_x": "yz", "round_y": "xz", "round_z": "xy"}
    return View(face, wide, high, shape, tuple(holes), ends.get(piece.form) == face, turned)


def _corners(wide: float, high: float) -> tuple[Spot, ...]:
    a, b = wide / 2, high / 2
    return ((-a, -b), (a, -b), (a, b), (-a, b))


def draw(fixture: str, piece: Piece) -> Paper:
    """The sheet of a part."""
    shown = views(piece)
    stacked = sum(view.wide for view in shown) > STACK_MM
    spots, wide, tall = _spots(shown, stacked)
    rows = sum(len(view.rows) for view in shown)
    beside = wide < STACK_MM and rows < 45
    table = ROW * (rows + 3) if rows else 0.0
    page = size_for(
        max(wide + (TABLE_MM if beside and rows else 8), 200.0),
        TITLE_MM + (max(tall, table + 10) if beside else tall + table + 10) + 8,
    )
    paper = Paper(*page)
    top = paper.high - GAP - 4
    lines: list[tuple[str, ...]] = []
    for view, (x, down) in zip(shown, spots, strict=True):
        _face(paper, view, (x, top - down - view.high), len(lines) + 1)
        lines += [
            _cells(n, view, hole, at) for n, (hole, at) in enumerate(view.rows, len(lines) + 1)
        ]
    _table(paper, lines, (wide if beside else MARGIN, top + 6 if beside else top - tall + GAP + 6))
    _title(paper, fixture, piece)
    return paper


def _spots(shown: list[View], stacked: bool) -> tuple[list[Spot], float, float]:
    """Left edge and depth below the top of each view; what all take, wide and high."""
    spots, x, down = [], MARGIN, 0.0
    for view in shown:
        spots.append((x, down))
        if stacked:
            down += view.high + 2 * GAP
        else:
            x += view.wide + GAP + 12
    if stacked:
        return spots, MARGIN + max(view.wide for view in shown) + GAP + 12, down
    return spots, x, max(view.high for view in shown) + 2 * GAP


def _face(paper: Paper, view: View, at: Spot, first: int) -> None:
    x, y = at
    if view.round:
        paper.circle((x + view.wide / 2, y + view.high / 2), view.wide)
    else:
        paper.shape((x + u, y + v) for u, v in view.outline)
    for number, (hole, (u, v)) in enumerate(view.rows, first):
        spot = (x + u, y + v)
        if hole.slot_mm:
            paper.slot(spot, hole.dia_mm, hole.slot_mm, view.turned)
        else:
            paper.circle(spot, hole.dia_mm, "--" if hole.deep_mm else "-")
        paper.cross(spot, hole.dia_mm / 2 + 1.5)
        r = hole.dia_mm / 2 * 0.71 + 0.6
        paper.text((spot[0] + r, spot[1] + r), str(number), size=SMALL - 1)
    paper.dimension((x, y - 8), (x + view.wide, y - 8), f"{view.wide:g}")
    paper.dimension((x - 7, y), (x - 7, y + view.high), f"{view.high:g}")
    for u in (0.0, view.wide):
        paper.line(((x + u, y - 1), (x + u, y - 10)), wide=THIN)
    for v in (0.0, view.high):
        paper.line(((x - 1, y + v), (x - 9, y + v)), wide=THIN)
    paper.text((x, y + view.high + 3), f"seen along {AXES[ACROSS[view.face]]}")


def _cells(number: int, view: View, hole: Hole, at: Spot) -> tuple[str, ...]:
    kind = f"{hole.thread}, drill {hole.dia_mm:g}" if hole.thread else f"{hole.dia_mm:g}"
    kind += f" slot, {hole.slot_mm:g}" if hole.slot_mm else ""
    deep = f"{hole.deep_mm:g} deep" if hole.deep_mm else "through"
    return (str(number), hole.use, f"{at[0]:.2f}", f"{at[1]:.2f}", kind, f"{hole.tol}, {deep}")


def _table(paper: Paper, lines: list[tuple[str, ...]], at: Spot) -> None:
    x, y = at
    head = ("no", "hole", "across", "up", "dia", "tolerance, depth")
    if not lines:
        return
    paper.text((x, y), "from the lower left corner of the view", size=SMALL)
    for row, cells in enumerate((head, *lines), 1):
        for offset, cell in zip(COLUMNS, cells, strict=True):
            paper.text((x + offset, y - ROW * row), cell)


def _title(paper: Paper, fixture: str, piece: Piece) -> None:
    paper.line(((5, TITLE_MM - 2), (paper.wide - 5, TITLE_MM - 2)))
    paper.print_check((MARGIN, 10))
    for row, words in enumerate(_titles(fixture, piece)):
        size = BIG if row == 0 else SMALL
        paper.text(
            (MARGIN if row == 0 else MARGIN + 112, 25 if row == 0 else 22 - 5 * row), words, size
        )


def _titles(fixture: str, piece: Piece) -> Iterator[str]:
    yield f"{piece.item}  {piece.name}"[:86]
    size = " x ".join(f"{side:g}" for side in sorted(piece.size_mm, reverse=True))
    yield f"{fixture.replace('_', ' ')}, {piece.count} off, {piece.material}, {size}"
    yield "scale 1:1, mm; ISO 2768-m where no tolerance stands"
    yield f"{piece.one_kg:.3f} kg each; dashed: a hole that does not go through"
