"""One line of `make bench`."""

from typing import Any


def figure(name: str, value: float, unit: str, bar: str, holds: bool) -> dict[str, Any]:
    """A figure with its bar in words and whether it holds."""
    return {"name": name, "value": value, "unit": unit, "bar": bar, "holds": bool(holds)}


def at_most(name: str, value: float, unit: str, limit: float) -> dict[str, Any]:
    """A figure that must not exceed `limit`."""
    return figure(name, value, unit, f"<= {limit:g}", value <= limit)


def exactly(name: str, value: float, unit: str, wanted: float) -> dict[str, Any]:
    """A figure that must be `wanted`."""
    return figure(name, value, unit, f"== {wanted:g}", value == wanted)


def honest(name: str, share: float) -> dict[str, Any]:
    """The share of rigs whose 95 % interval holds the truth."""
    return figure(name, share, "share", "0.93 to 0.97", 0.93 <= share <= 0.97)
