"""A value with its uncertainty, as people read it."""

from math import floor, log10

SIGNS = {"1": "", "m/s2": "m/s²", "N.m": "N·m", "N.m/rad": "N·m/rad", "s/s": ""}
"""Units as shown: a ratio has none."""


def stated(value: float, expanded: float, unit: str = "") -> str:
    """Value and expanded uncertainty, both to the uncertainty's second digit (GUM 7.2.6)."""
    if unit == "Pa" and abs(value) >= 1e5:
        value, expanded, unit = value / 1e6, expanded / 1e6, "MPa"
    places = 1 - floor(log10(expanded)) if expanded > 0 else 3
    shown = max(places, 0)
    text = f"{round(value, places):.{shown}f} ± {round(expanded, places):.{shown}f}"
    return f"{text} {SIGNS.get(unit, unit)}".strip()
