"""Questions whose answers must make sense: asked again, in plain words, until they do.

The runner ends a run in which one is asked for ever; it can be gone on with.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from statistics import median
from typing import Any

from rig.errors import RigError
from rig.guide.parameters import aside
from rig.guide.steps import Ask, Note, Passage, Tell

MM = 1e-3

Band = tuple[float, float]
Far = Callable[[float], str]
"""Says of a value how it is far from its fellows, "" when it is not."""

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

# What is usual; outside it an answer is asked for once more before it counts. All of them ours.
TIP_THICK: Band = (0.3 * MM, 6 * MM)
TIP_WIDE: Band = (2 * MM, 40 * MM)
TIP_OUT: Band = (0.0, 10 * MM)
DAMAGE_DEEP: Band = (0.01 * MM, 1 * MM)
DAMAGE_LONG: Band = (0.05 * MM, 10 * MM)
TWISTED_LONG: Band = (0.1 * MM, 60 * MM)
BLADE_USUAL: Band = (0.8 * MM, 12 * MM)
DENTS_USUAL: Band = (1 * MM, 20 * MM)
MEDIA_THICK: Band = (0.05 * MM, 50 * MM)

FAR_TIMES = 5.0
"""A size so many times above or below the middle of its fellows is asked for once more; ours."""

PHOTO = aside("photo", "flag", "no", "ask for the path of a photograph")
NO_PHOTO = {"photo": "none", "photo_sha256": ""}


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
    """The code of the blade, or several with commas when `shared`: as given, else asked for."""
    said = str(params["specimen"])
    while True:
        against = _no_code(said, shared)
        if said and not against:
            return said
        if said:
            yield Tell(f"{against}; write it like K3.")
        answer = yield Ask("Which blade? Its code", key="specimen")
        said = str(answer["value"])


def _no_code(said: str, shared: bool) -> str:
    """What is wrong with the code of a blade; "" when nothing is."""
    codes = [part.strip() for part in said.split(",")]
    if not all(codes):
        return f"'{said}' leaves a code out"
    if len(codes) > 1 and not shared:
        return f"'{said}' names several blades, and only a staircase is shared"
    return ""


def photograph(of: str) -> Passage[dict[str, str]]:
    """The path of a photograph, and what tells it from another."""
    photo = yield Ask(
        f"Photograph of {of} with its label beside it: path of the file, or none",
        key="photo", kind="file", default="none",
    )  # fmt: skip
    return {"photo": str(photo["value"]), "photo_sha256": str(photo["sha256"])}


def sure(
    asked: Callable[[], Passage[float]], key: str, far: Far, shown: Callable[[float], str]
) -> Passage[float]:
    """A value that is asked for once more before it counts when it is far from what is usual.

    It counts then when it is the same again, or is not far. What came first stays on record.

    Args:
        asked: asks for it.
        key: of the question.
        far: says how it is far.
        shown: the value with its unit.
    """
    values = [(yield from asked())]
    while (why := far(values[-1])) and values[-1] not in values[:-1]:
        yield Tell(f"{shown(values[-1])} {why}. Look, and type it once more.")
        values.append((yield from asked()))
    if len(values) > 1:
        yield Note(
            "Asked for once more", kind="asked_twice",
            body={"key": key, "first": [shown(value) for value in values[:-1]],
                  "counts": shown(values[-1])},
        )  # fmt: skip
    return values[-1]


def length(
    text: str, key: str, band: Band, default: str = "", usual: Band | None = None,
    fellows: Sequence[float] = (),
) -> Passage[float]:  # fmt: skip
    """A length in metres within `band`; one outside `usual` or far from its fellows comes again."""

    def far(value: float) -> str:
        if usual is not None and value and not usual[0] <= value <= usual[1]:
            return "is unusual here"
        return far_by_ratio([one / MM for one in fellows], FAR_TIMES)(value / MM) if value else ""

    def asked() -> Passage[float]:
        return _length(text, key, band, default)

    return (yield from sure(asked, key, far, lambda value: f"{value / MM:g} mm"))


def _length(text: str, key: str, band: Band, default: str) -> Passage[float]:
    low, high = band
    while True:
        answer = yield Ask(text, key=key, kind="length", default=default)
        value = float(answer["value"])
        if low <= value <= high:
            return value
        yield Tell(f"{value / MM:g} mm cannot be: it is {low / MM:g} mm to {high / MM:g} mm.")


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


def force(text: str, key: str, highest_n: float, far: Far = lambda _: "") -> Passage[float]:
    """A force in newtons, above zero; one far from its fellows is asked for once more."""

    def asked() -> Passage[float]:
        while True:
            answer = yield Ask(text, key=key, kind="force")
            value = float(answer["value"])
            if 0 < value <= highest_n:
                return value
            yield Tell(f"{value:g} N cannot be: it is above 0 and at most {highest_n:g} N.")

    return (yield from sure(asked, key, far, lambda value: f"{value:g} N"))


def number(
    text: str, key: str, fault: Far, unit: str = "", default: str = "", far: Far = lambda _: ""
) -> Passage[float]:
    """A plain number; `fault` says what is wrong with one, "" when nothing is.

    One that is `far` from its fellows is asked for once more.
    """

    def asked() -> Passage[float]:
        while True:
            answer = yield Ask(text, key=key, kind="number", default=default)
            said = str(answer["value"])
            value = _plain(said, unit)
            against = fault(value) if math.isfinite(value) else (
                f"'{said}' is not a number; write it like {default or '60.5'}."
            )  # fmt: skip
            if not against:
                return value
            yield Tell(against)

    return (yield from sure(asked, key, far, lambda value: f"{value:g} {unit}".strip()))


def series(
    count: int, one: Callable[[int, Far], Passage[float]],
    far_from: Callable[[Sequence[float]], Far], key: str, unit: str,
) -> Passage[list[float]]:  # fmt: skip
    """Readings one after the other; the first, which had no fellows yet, is looked at in the end.

    Args:
        count: how many.
        one: asks for the reading of a number.
        far_from: what says of a reading how it is far from some others.
        key: of the question.
        unit: of the readings.
    """
    taken: list[float] = []
    while len(taken) < count:
        taken.append((yield from one(len(taken) + 1, far_from(taken))))
    if count > 2 and (why := far_from(taken[1:])(taken[0])):
        yield Tell(f"Reading 1, {taken[0]:g} {unit}, {why}. Look, and type it once more.")
        again = yield from one(1, lambda _: "")
        body = {"key": key, "first": [f"{taken[0]:g} {unit}"], "counts": f"{again:g} {unit}"}
        yield Note("Asked for once more", kind="asked_twice", body=body)
        taken[0] = again
    return taken


def far_by_ratio(fellows: Sequence[float], ratio: float) -> Far:
    """Against a value more than `ratio` times above or below the middle of its fellows."""

    def far(value: float) -> str:
        if not fellows or median(fellows) / ratio <= value <= median(fellows) * ratio:
            return ""
        return f"is far from its fellows (about {median(fellows):.3g})"

    return far


def far_by(fellows: Sequence[float], apart: float) -> Far:
    """Against a value more than `apart` from the nearest of its fellows."""

    def far(value: float) -> str:
        if not fellows or min(abs(value - one) for one in fellows) <= apart:
            return ""
        return f"is far from its fellows (about {median(fellows):.4g})"

    return far


def _plain(said: str, unit: str) -> float:
    try:
        return float(said.upper().removesuffix(unit.upper()))
    except ValueError:
        return math.nan
