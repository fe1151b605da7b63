"""Questions whose answers must make sense: asked again, in plain words, until they do."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from rig.errors import RigError
from rig.guide.steps import Ask, Passage, Tell

TRIES = 20  # a person is done long before; a pipe that answers nonsense must come to an end
MM = 1e-3

Band = tuple[float, float]

# What can be met at a bench at all, lowest and highest, in metres; all of them ours.
BLADE_THICKNESS: Band = (0.02 * MM, 30 * MM)
BLADE_WIDTH: Band = (0.2 * MM, 200 * MM)
ALONG_BLADE: Band = (0.0, 500 * MM)
ROUND: Band = (1 * MM, 500 * MM)
DAMAGE: Band = (0.0, 50 * MM)
DAMAGE_U: Band = (0.0005 * MM, 1 * MM)  # standard uncertainty of a reading by eye
SMALLEST_SEEN: Band = (0.001 * MM, 5 * MM)
SECTION_U: Band = (0.0005 * MM, 1 * MM)
DENTS_APART: Band = (0.1 * MM, 200 * MM)
MEDIA_THICKNESS: Band = (0.01 * MM, 200 * MM)


def check_blade(params: Mapping[str, Any], shared: bool = False) -> None:
    """Refuse a `specimen` that is no code; an empty one is asked for later.

    Args:
        params: of the run.
        shared: whether several blades, with commas between, may share it.

    Raises:
        RigError: naming what is wrong with it.
    """
    said = str(params["specimen"])
    if said and (against := _no_code(said, shared)):
        remedy = "write it like K3, or K3,K4" if shared else "write one, like K3"
        raise RigError(against, where="specimen", remedy=remedy)


def blade(params: Mapping[str, Any], shared: bool = False) -> Passage[str]:
    """The code of the blade, or several with commas when `shared`: as given, else asked for.

    Raises:
        RigError: no such answer came.
    """
    said = str(params["specimen"])
    for _ in range(TRIES):
        against = _no_code(said, shared)
        if said and not against:
            return said
        if said:
            yield Tell(f"{against}; write it like K3.")
        answer = yield Ask("Which blade? Its code", key="specimen")
        said = str(answer["value"])
    raise no_use("specimen")


def _no_code(said: str, shared: bool) -> str:
    """What is wrong with the code of a blade; "" when nothing is."""
    codes = [part.strip() for part in said.split(",")]
    if not all(codes):
        return f"'{said}' leaves a code out"
    if len(codes) > 1 and not shared:
        return f"'{said}' names several blades, and only a staircase is shared"
    return ""


def length(text: str, key: str, band: Band, default: str = "") -> Passage[float]:
    """A length in metres within `band`.

    Raises:
        RigError: no such answer came.
    """
    low, high = band
    for _ in range(TRIES):
        answer = yield Ask(text, key=key, kind="length", default=default)
        value = float(answer["value"])
        if low <= value <= high:
            return value
        yield Tell(f"{value / MM:g} mm cannot be: it is {low / MM:g} mm to {high / MM:g} mm.")
    raise no_use(key)


# What is asked below of caliper and reticle, 0.05 mm and 0.02 mm: common practice, no source.


def how_sure() -> Passage[float]:
    """Standard uncertainty in metres of what was read of some damage."""
    return (
        yield from length(
            "How sure is the reading (standard uncertainty)? caliper 0.05 mm, reticle 0.02 mm",
            "u", DAMAGE_U, "0.05 mm",
        )
    )  # fmt: skip


def smallest_seen() -> Passage[float]:
    """The size in metres of the smallest damage that would have been seen."""
    return (
        yield from length(
            "How small a damage would you have seen there? caliper 0.05 mm, reticle 0.02 mm",
            "smallest", SMALLEST_SEEN, "0.05 mm",
        )
    )  # fmt: skip


def force(text: str, key: str, highest_n: float) -> Passage[float]:
    """A force in newtons, above zero.

    Raises:
        RigError: no such answer came.
    """
    for _ in range(TRIES):
        answer = yield Ask(text, key=key, kind="force")
        value = float(answer["value"])
        if 0 < value <= highest_n:
            return value
        yield Tell(f"{value:g} N cannot be: it is above 0 and at most {highest_n:g} N.")
    raise no_use(key)


def number(
    text: str, key: str, fault: Callable[[float], str], unit: str = "", default: str = ""
) -> Passage[float]:
    """A plain number; `fault` says what is wrong with one, "" when nothing is.

    Raises:
        RigError: no such answer came.
    """
    for _ in range(TRIES):
        answer = yield Ask(text, key=key, kind="number", default=default)
        said = str(answer["value"])
        value = _plain(said, unit)
        against = fault(value) if math.isfinite(value) else (
            f"'{said}' is not a number; write it like {default or '60.5'}."
        )  # fmt: skip
        if not against:
            return value
        yield Tell(against)
    raise no_use(key)


def _plain(said: str, unit: str) -> float:
    try:
        return float(said.upper().removesuffix(unit.upper()))
    except ValueError:
        return math.nan


def no_use(key: str) -> RigError:
    """What ends a question that nobody answers."""
    return RigError(f"no usable answer to '{key}' in {TRIES} tries", remedy="start the run anew")
