"""All drawings of a fixture: names and contents, as they are kept beside its pages."""

from collections.abc import Iterator, Mapping
from io import BytesIO

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages

from rig.drawings import assembly, cut, lists, sheet
from rig.drawings.paper import STYLE, Paper
from rig.geometry.parts import Fixture
from rig.geometry.placed import Assembly


def sheets(fixture: Fixture) -> dict[str, Paper]:
    """The sheet of every made part by its name."""
    return {
        f"{piece.item:02d}_{key}": sheet.draw(fixture.kind, piece)
        for key, piece in sorted(fixture.piece.items(), key=lambda pair: pair[1].item)
        if piece.source == "made"
    }


def together(part: str, made: Assembly) -> Paper:
    """The assembly's sheet, the frame at home."""
    middle = 0 if part == "frame" else len(made.poses) // 2  # the arm level, the carriage half up
    return assembly.draw(made.fixture.kind, made, middle)


def files(part: str, fixture: Fixture, made: Assembly) -> Iterator[tuple[str, bytes]]:
    """Each file's name and bytes: assembly and sheets as SVG, one PDF of all, a DXF a part, and
    the parts list."""
    drawn = {"00_assembly": together(part, made)} | sheets(fixture)
    yield from pictures(drawn)
    yield "all.pdf", printable(drawn)
    yield from cuts(fixture)
    yield "parts.md", lists.page(fixture, made).encode()


def pictures(drawn: Mapping[str, Paper]) -> Iterator[tuple[str, bytes]]:
    """An SVG of each sheet."""
    for name, paper in drawn.items():
        yield f"{name}.svg", paper.svg().encode()


def cuts(fixture: Fixture) -> Iterator[tuple[str, bytes]]:
    """A DXF of each made part.

    Raises:
        RigError: ezdxf is not installed.
    """
    for key, piece in fixture.piece.items():
        if piece.source == "made":
            yield f"{piece.item:02d}_{key}.dxf", cut.dxf(piece).encode()


def printable(drawn: Mapping[str, Paper]) -> bytes:
    """All sheets in one PDF; the same bytes on every run."""
    out = BytesIO()
    told = {"CreationDate": None, "ModDate": None, "Producer": None, "Creator": None}
    with matplotlib.rc_context(STYLE), PdfPages(out, metadata=told) as pages:
        for paper in drawn.values():
            pages.savefig(paper.figure)
    return out.getvalue()
