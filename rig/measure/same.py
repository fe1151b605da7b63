"""Are a stored result and the same one computed again the same result?

Another processor's maths kernels add up in another order, and another release may put a reason in
other words; neither makes a stored result false. So numbers are compared within a small share of
the expanded uncertainty, codes (names of reasons, kinds) exactly, and words apart.
"""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

SHARE_OF_U = 0.001
"""Two values of one measurand that differ by no more of their U are the same."""
RELATIVE = 1e-6  # of a number without an uncertainty; other kernels changed 2e-10 (measured)
NOISE = 1e-12  # SI: what should be nothing

_NUMERAL = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")


@dataclass(frozen=True)
class Difference:
    """One place where two results differ; `words`: in the wording only."""

    text: str
    words: bool = False


def differences(stored: Mapping[str, Any], again: Mapping[str, Any]) -> list[Difference]:
    """Where two results in plain data (as stored) differ; empty when they are the same."""
    found: list[Difference] = []
    for name in _names(stored, again):
        one, other = stored.get(name), again.get(name)
        if name == "measurands" and isinstance(one, Mapping) and isinstance(other, Mapping):
            for measurand in _names(one, other):
                found += _measurand(measurand, one.get(measurand), other.get(measurand))
        else:
            found += _any(name, one, other, 0.0)
    return found


def _names(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    return [*one, *(name for name in other if name not in one)]


def _measurand(name: str, one: Any, other: Any) -> Iterator[Difference]:
    if not (isinstance(one, Mapping) and isinstance(other, Mapping)):
        yield from _any(name, one, other, 0.0)
        return
    size = other.get("U")  # of what is computed now: the stored one may be what was changed
    floor = 0.0
    if isinstance(size, int | float) and math.isfinite(size):
        floor = SHARE_OF_U * size
    for key in _names(one, other):
        if key == "value" and not _alike(one.get(key), other.get(key), floor):
            yield Difference(
                f"{name}: {one.get(key)!r} stored, {other.get(key)!r} now"
                + _apart(one.get(key), other.get(key), size)
            )
        elif key == "rows":
            yield from _rows(f"{name}: budget", one.get(key), other.get(key), floor)
        elif key != "value":
            yield from _any(f"{name}: {key}", one.get(key), other.get(key), floor)


def _apart(one: Any, other: Any, size: Any) -> str:
    if not all(isinstance(number, int | float) for number in (one, other, size)) or not size:
        return ""
    return f" ({abs(one - other) / size:.2g} U apart)"


def _rows(place: str, one: Any, other: Any, floor: float) -> Iterator[Difference]:
    """Rows of a budget: what a row contributes counts, not the slope that it comes from."""
    if not _lists(one, other) or len(one) != len(other):
        yield from _any(place, one, other, floor)
        return
    for row, again in zip(one, other, strict=True):
        for key in _names(row, again):
            if key != "sensitivity":  # times u it is the contribution
                least = floor if key == "contribution" else SHARE_OF_U if key == "share" else 0.0
                yield from _any(f"{place}, {key}", row.get(key), again.get(key), least)


def _lists(one: Any, other: Any) -> bool:
    return all(isinstance(a, Sequence) and not isinstance(a, str) for a in (one, other))


def _any(place: str, one: Any, other: Any, floor: float) -> Iterator[Difference]:
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        for key in _names(one, other):
            yield from _any(f"{place}, {key}", one.get(key), other.get(key), floor)
    elif _lists(one, other) and len(one) == len(other):
        numbers = [abs(a) for a in one if isinstance(a, int | float)]
        least = max([floor, *(RELATIVE * number for number in numbers)])
        for a, b in zip(one, other, strict=True):
            yield from _any(place, a, b, least)
    elif isinstance(one, str) and isinstance(other, str):
        if _worded(one, other):
            yield Difference(f"{place}: “{one}” stored, “{other}” now", " " in one and " " in other)
    elif not _alike(one, other, floor):
        yield Difference(f"{place}: {one!r} stored, {other!r} now")


def _worded(one: str, other: str) -> bool:
    """Whether two texts differ by more than one step of the last digit of a figure."""
    if _NUMERAL.sub("#", one) != _NUMERAL.sub("#", other):
        return True
    pairs = zip(_NUMERAL.finditer(one), _NUMERAL.finditer(other), strict=True)
    return any(
        abs(Decimal(a[0]) - Decimal(b[0])) > Decimal(1).scaleb(_exponent(a[0])) for a, b in pairs
    )


def _exponent(numeral: str) -> int:
    """Power of ten of a numeral's last digit."""
    return int(Decimal(numeral).as_tuple().exponent)


def _alike(one: Any, other: Any, floor: float) -> bool:
    plain = all(isinstance(a, int | float) and not isinstance(a, bool) for a in (one, other))
    if not plain or not (math.isfinite(one) and math.isfinite(other)):
        return bool(one == other)
    return bool(abs(one - other) <= max(floor, RELATIVE * max(abs(one), abs(other)), NOISE))
