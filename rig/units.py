"""Quantities as people write them: a number, an optional space, a unit.

Exact: the number and the factor are Fractions until the last step. A unit is never guessed: a
missing or unknown one is refused, and so is a decimal comma (some readers turn "12,5" into 125).

Factors rest on the exact definitions 1 in = 0.0254 m, 1 lb = 0.453 592 37 kg and standard
gravity 9.806 65 m/s2 (NIST SP 811, appendix B).
"""

import difflib
import math
import re
from fractions import Fraction

from rig.errors import RigError

INCH_M = Fraction("0.0254")
FOOT_M = 12 * INCH_M
POUND_KG = Fraction("0.45359237")
STANDARD_GRAVITY_M_S2 = Fraction("9.80665")
POUND_FORCE_N = POUND_KG * STANDARD_GRAVITY_M_S2
DEGREE_RAD = Fraction(math.pi) / 180


def _scaled(text: str, factor: Fraction) -> dict[str, Fraction]:
    return dict.fromkeys(text.split(), factor)


_ONE = Fraction(1)
_MILLI = Fraction(1, 1000)

# dimension -> spelling -> factor to the SI unit, which is the first spelling of its dimension.
# A product is written here with `*` alone; `-`, `.` and the middle dot are read as `*`.
UNITS: dict[str, dict[str, Fraction]] = {
    "energy": {
        **_scaled("J N*m", _ONE),
        **_scaled("mJ", _MILLI),
        **_scaled("kJ", Fraction(1000)),
        **_scaled("ft*lbf ft*lb lbf*ft lb*ft", FOOT_M * POUND_FORCE_N),
        **_scaled("in*lbf in*lb lbf*in lb*in", INCH_M * POUND_FORCE_N),
        **_scaled("kgf*m", STANDARD_GRAVITY_M_S2),
    },
    "length": {
        **_scaled("m", _ONE),
        **_scaled("mm", _MILLI),
        **_scaled("cm", Fraction(1, 100)),
        **_scaled("um", Fraction(1, 10**6)),
        **_scaled('in "', INCH_M),
        **_scaled("ft '", FOOT_M),
    },
    "mass": {
        **_scaled("kg", _ONE),
        **_scaled("g", _MILLI),
        **_scaled("lb", POUND_KG),
        **_scaled("oz", POUND_KG / 16),
    },
    "speed": {
        **_scaled("m/s", _ONE),
        **_scaled("mm/s", _MILLI),
        **_scaled("ft/s", FOOT_M),
        **_scaled("in/s", INCH_M),
    },
    "acceleration": _scaled("m/s2 m/s^2", _ONE),
    "force": {
        **_scaled("N", _ONE),
        **_scaled("kN", Fraction(1000)),
        **_scaled("lbf", POUND_FORCE_N),
        **_scaled("kgf", STANDARD_GRAVITY_M_S2),
    },
    "torque": {
        **_scaled("N*m Nm", _ONE),
        **_scaled("N*mm", _MILLI),
        **_scaled("ft*lbf ft*lb lbf*ft lb*ft", FOOT_M * POUND_FORCE_N),
        **_scaled("in*lbf in*lb lbf*in lb*in", INCH_M * POUND_FORCE_N),
        **_scaled("kgf*m", STANDARD_GRAVITY_M_S2),
        **_scaled("kgf*cm", STANDARD_GRAVITY_M_S2 / 100),
    },
    "angle": {**_scaled("rad", _ONE), **_scaled("deg", DEGREE_RAD)},
    "temperature": {**_scaled("C degC", _ONE), **_scaled("F degF", Fraction(5, 9))},
    "time": {
        **_scaled("s", _ONE),
        **_scaled("ms", _MILLI),
        **_scaled("min", Fraction(60)),
        **_scaled("h", Fraction(3600)),
    },
}
# Added to the number before the factor. Temperatures come out in degree Celsius.
OFFSETS: dict[str, Fraction] = {"F": Fraction(-32), "degF": Fraction(-32)}

# What a person at the bench would write, for the hints.
SUCH_AS = {
    "energy": "5 J",
    "length": "0.3 mm",
    "mass": "2 kg",
    "speed": "2 m/s",
    "acceleration": "9.7 m/s2",
    "force": "1.25 N",
    "torque": "3 N*m",
    "angle": "15 deg",
    "temperature": "200 C",
    "time": "10 min",
}

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]*")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf(?:inity)?)\b", re.IGNORECASE)
_SPELLINGS = str.maketrans(
    {"·": "*", "⋅": "*", "-": "*", ".": "*", "µ": "u", "μ": "u", "″": '"', "′": "'", "”": '"'}
)


def parse_quantity(text: str, dimension: str, where: str = "") -> float:
    """The value of `text` ("5 J", '18"', "2.5 ft*lbf") in the SI unit of `dimension`.

    Args:
        text: number, optional space, unit.
        dimension: a key of UNITS. "temperature" gives degree Celsius.
        where: file and key, or option, for the error line.

    Raises:
        RigError: not a finite number with a known unit of that dimension.
    """
    text = " ".join(text.split())  # one line, whatever was pasted
    number, rest = _split(text, dimension, where)
    unit = _unit(rest, dimension, text, where)
    factor = UNITS[dimension][unit]
    try:
        value = float((number + OFFSETS.get(unit, Fraction(0))) * factor)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise RigError(f"{text!r} is not finite", where=where, value=text)
    return value


def unit_of(dimension: str) -> str:
    """The unit in which `parse_quantity` returns values of `dimension`."""
    return "degC" if dimension == "temperature" else next(iter(UNITS[dimension]))


def from_si(value: float, unit: str, dimension: str) -> float:
    """`value` (SI; degree Celsius for temperatures) as a number of `unit`.

    Raises:
        RigError: `unit` is not one of `dimension`.
    """
    unit = _unit(unit, dimension, unit, "")
    exact = Fraction(value) / UNITS[dimension][unit] - OFFSETS.get(unit, Fraction(0))
    return float(exact)


def _split(text: str, dimension: str, where: str) -> tuple[Fraction, str]:
    if _NOT_FINITE.match(text):
        raise RigError(f"{text!r} is not a finite number", where=where, value=text)
    if _COMMA.match(text):
        remedy = (
            f"write {text.replace(',', '.', 1)}" if text.count(",") == 1 else "leave commas out"
        )
        raise RigError(
            f"{text!r} has a comma in its number", where=where, remedy=remedy, value=text
        )
    match = _NUMBER.match(text)
    if match is None:
        raise RigError(
            f"{text!r} does not start with a number",
            where=where,
            remedy=f"write a number and a unit of {dimension}, such as {SUCH_AS[dimension]}",
            value=text,
        )
    digits = match.group()
    size = float(digits)  # before the exact form: 1e999999999 would fill the memory
    if not math.isfinite(size):
        raise RigError(f"{text!r} is not finite", where=where, value=text)
    return Fraction(digits) if size else Fraction(0), text[match.end() :].strip()


def _unit(rest: str, dimension: str, text: str, where: str) -> str:
    """The table's spelling of the unit written as `rest`."""
    table = UNITS[dimension]
    known = ", ".join(table)
    if not rest:
        raise RigError(
            f"{text!r} has no unit", where=where, remedy=f"add one of: {known}", value=text
        )
    if rest.startswith("°"):
        rest = rest[1:].strip() or "deg"
    unit = re.sub(r"\s*\*\s*", "*", rest.translate(_SPELLINGS))
    if unit in table:
        return unit
    for other, units in UNITS.items():
        if unit in units:
            raise RigError(
                f"{text!r} is {_article(other)}, not {_article(dimension)}",
                where=where,
                remedy=f"use one of: {known}",
                value=text,
            )
    raise RigError(
        f"{text!r}: unknown unit {rest!r}", where=where, remedy=_suggest(unit, table), value=text
    )


def _suggest(unit: str, table: dict[str, Fraction]) -> str:
    alike = [known for known in table if known.lower() == unit.lower()]
    alike = alike or difflib.get_close_matches(unit, table, n=1, cutoff=0.5)
    return f"did you mean {alike[0]}?" if alike else f"use one of: {', '.join(table)}"


def _article(dimension: str) -> str:
    return f"an {dimension}" if dimension[0] in "aeiou" else f"a {dimension}"
