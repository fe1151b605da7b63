"""How all pages draw and write numbers: colours, style, a picture as text, a value with its U."""

import base64
import io
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rig.quantity import SIGNS, stated

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Picture = tuple[str, str]  # data address, and the same for those who cannot see it
DARK, FITTED, MARK = "#1f2a33", "#b5431a", "#1c6b6b"
STYLE: Any = {
    "svg.hashsalt": "bladerig",
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#56646f",
    "axes.grid": True,
    "grid.color": "#e3e7ea",
}


def svg(figure: "Figure") -> str:
    """A picture as a data address."""
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(buffer.getvalue().encode()).decode()


def quantity(measurand: Mapping[str, Any]) -> str:
    """Value and expanded uncertainty, both to the uncertainty's second digit; angles in degrees."""
    value, expanded, unit = measurand["value"], measurand["U"], measurand["unit"]
    if unit == "rad":
        value, expanded, unit = math.degrees(value), math.degrees(expanded), "°"
    return stated(value, expanded, unit)


def sign(unit: str) -> str:
    """A unit as it is shown."""
    return SIGNS.get(unit, unit)


def degrees(dof: float | None) -> str:
    """Degrees of freedom: beyond a thousand t is the normal's to four digits."""
    if dof is None:
        return "not limited"
    return "over 1,000" if dof > 1000 else f"{dof:.3g}"
