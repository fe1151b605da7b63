"""A fixture's parts list as a page: parts, screws, cut list, hours and cost."""

from collections import Counter
from collections.abc import Iterator

from rig.geometry import joints
from rig.geometry.parts import Fixture, Piece
from rig.geometry.placed import Assembly

SCREW_EUR = 0.12
"""One screw of class 8.8 with washer and nut, in packs; from memory."""
SAW_MM = 3.0
"""Added to each sawn length."""


def page(fixture: Fixture, made: Assembly) -> str:
    """The page's text."""
    title = fixture.kind.replace("_", " ")
    lines = [
        f"# {title.capitalize()}: parts list",
        "",
        "Made by `bladerig bench draw` from parts.toml; do not edit. Numbers are those of",
        "[the assembly](00_assembly.svg); sheets 1:1 are in [all.pdf](all.pdf). Any maker's parts",
        "that fit will do. Prices and hours: from memory, small quantities, without tax.",
        "",
        *_table(("no", "part", "off", "from", "material", "size, mm", "kg each", "EUR, all"),
                (_row(piece) for piece in _sorted(fixture))),
        "",
        "## Screws",
        "",
        "Class 8.8, countersunk where a moving part passes close by; a washer under each head and",
        "nut.",
        "",
        *_table(("screw", "off", "through", "into"), _screws(fixture, made)),
        "",
        "## Cut list",
        "",
        f"Longest side first; {SAW_MM:g} mm for the saw stand in each length.",
        "",
        *_table(("material", "section, mm", "lengths, mm"), _cuts(fixture)),
        "",
        "## Hours and cost",
        "",
        *_table(("shop", "hours", "parts, EUR", "sent out or bought for it, EUR", "together, EUR"),
                _costs(fixture, made)),
        "",
    ]  # fmt: skip
    return "\n".join(lines)


def parts_eur(fixture: Fixture, made: Assembly) -> float:
    """All parts and screws."""
    screws = sum(joints.off(made, joint) for joint in fixture.joint)
    return sum(piece.cost_eur for piece in fixture.piece.values()) + SCREW_EUR * screws


def _sorted(fixture: Fixture) -> list[Piece]:
    return sorted(fixture.piece.values(), key=lambda piece: piece.item)


def _row(piece: Piece) -> tuple[str, ...]:
    size = " x ".join(f"{side:g}" for side in piece.size_mm)
    round_bar = {"round_x": 1, "round_y": 0, "round_z": 0}.get(piece.form)
    if round_bar is not None:
        long = max(piece.size_mm)
        size = f"dia {piece.size_mm[round_bar]:g} x {long:g}"
    return (str(piece.item), piece.name, str(piece.count), piece.source, piece.material, size,
            f"{piece.one_kg:.3f}", f"{piece.cost_eur:g}")  # fmt: skip


def _screws(fixture: Fixture, made: Assembly) -> Iterator[tuple[str, ...]]:
    for joint in fixture.joint:
        through = ", ".join(name.partition(".")[0].replace("_", " ") for name in joint.through)
        into = joint.into.partition(".")[0].replace("_", " ")
        yield joint.screw.replace("x", " x "), str(joints.off(made, joint)), through, into


def _cuts(fixture: Fixture) -> Iterator[tuple[str, ...]]:
    lengths: dict[tuple[str, str], Counter[float]] = {}
    for piece in fixture.piece.values():
        if piece.source != "made":
            continue
        thin, middle, long = sorted(piece.size_mm)
        section = f"{middle:g} x {thin:g}" if piece.form == "box" else f"round {thin:g}"
        lengths.setdefault((piece.material, section), Counter())[long + SAW_MM] += piece.count
    for (material, section), these in sorted(lengths.items()):
        yield material, section, ", ".join(f"{n} x {long:g}" for long, n in sorted(these.items()))


def _costs(fixture: Fixture, made: Assembly) -> Iterator[tuple[str, ...]]:
    parts = parts_eur(fixture, made)
    for shop in fixture.making:
        yield (shop.shop, f"{shop.hours:g}", f"{parts:.0f}", f"{shop.extra_eur:g}",
               f"{parts + shop.extra_eur:.0f}")  # fmt: skip


def _table(head: tuple[str, ...], rows: Iterator[tuple[str, ...]]) -> Iterator[str]:
    yield f"| {' | '.join(head)} |"
    yield f"|{'---|' * len(head)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"
