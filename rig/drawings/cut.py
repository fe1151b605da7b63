"""The DXF of one part: outline and holes to cut or to mark from, 1:1, one layer each."""

from io import StringIO
from typing import TYPE_CHECKING

from rig.drawings.paper import Spot
from rig.drawings.sheet import View, views
from rig.errors import RigError
from rig.geometry.parts import Hole, Piece

if TYPE_CHECKING:
    from ezdxf.document import Drawing

LAYERS = (("CUT", 7), ("MARK", 8), ("TEXT", 5))


def drawing(piece: Piece) -> "Drawing":
    """Its main face: closed outline and holes on CUT, centres on MARK, numbers on TEXT.

    Raises:
        RigError: ezdxf is not installed.
    """
    try:
        from ezdxf import units
        from ezdxf._options import options
        from ezdxf.filemanagement import new
    except ImportError:
        raise RigError(
            "the library for DXF files is not there",
            where="ezdxf",
            remedy="python -m pip install ezdxf",
        ) from None
    options.write_fixed_meta_data_for_testing = True  # the same bytes on every run
    made = new("R2000", units=units.MM)
    for name, colour in LAYERS:
        made.layers.add(name, color=colour)
    _draw(made, views(piece)[0])
    return made


def _draw(made: "Drawing", view: View) -> None:
    space = made.modelspace()
    if view.round:
        space.add_circle((view.wide / 2, view.high / 2), view.wide / 2, {"layer": "CUT"})
    else:
        space.add_lwpolyline(view.outline, close=True, dxfattribs={"layer": "CUT"})
    for number, (hole, at) in enumerate(view.rows, 1):
        if hole.slot_mm:
            space.add_lwpolyline(
                _slot(hole, at, view.turned), "xyb", close=True, dxfattribs={"layer": "CUT"}
            )
        else:
            space.add_circle(at, hole.dia_mm / 2, {"layer": "CUT"})
        space.add_point(at, {"layer": "MARK"})
        text = space.add_text(str(number), height=2.5, dxfattribs={"layer": "TEXT"})
        text.set_placement((at[0] + hole.dia_mm / 2 + 0.8, at[1]))


def _slot(hole: Hole, at: Spot, upright: bool) -> list[tuple[float, float, float]]:
    """Corners of a slot with the bulge of its round ends (1 is half a circle)."""
    half, r, (x, y) = hole.slot_mm / 2, hole.dia_mm / 2, at
    corners = [(-half, -r, 0.0), (half, -r, 1.0), (half, r, 0.0), (-half, r, 1.0)]
    if upright:
        corners = [(-v, u, bulge) for u, v, bulge in corners]
    return [(x + u, y + v, bulge) for u, v, bulge in corners]


def dxf(piece: Piece) -> str:
    """The file's text."""
    out = StringIO()
    drawing(piece).write(out)
    return out.getvalue()
