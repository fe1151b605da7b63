"""What stands against a step of somebody's own script, before anything is done with it."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from difflib import get_close_matches
from typing import Any

from rig.calibration.certificate import NOTE
from rig.guide import hazards, steps, verdict
from rig.guide.kinds import KINDS
from rig.guide.readings import CALLED
from rig.guide.steps import Ask, Measure, Note, Read, Step, plain
from rig.logbook.journal import CORRECTED, OWN_KINDS, STEP
from rig.measure.reading import KINDS as CHANNELS
from rig.units import UNITS

RESERVED = OWN_KINDS | {
    STEP, "resumed", "interrupted", "line", "permit", "permit_ended", NOTE,
    "label_read", "strokes", "drive_permit", "drive_ended", CALLED, CORRECTED, "study",
    "study-order", "study-unsealed",
}  # fmt: skip
"""Kinds of journal rows by which the program itself reads a logbook."""

KNOWN = tuple(
    found
    for name, found in vars(steps).items()
    if isinstance(found, type) and issubclass(found, Step) and found is not Step
)


def against(step: object) -> str:
    """Why a yielded thing is no step to be performed; "" when it is one."""
    if not isinstance(step, KNOWN) or not is_dataclass(step):
        return f"{step!r} was yielded, which is no step of rig.guide.steps"
    wrong = [f.name for f in fields(step) if not _fits(getattr(step, f.name), str(f.type))]
    if wrong:
        return f"{type(step).__name__}: {wrong[0]}={getattr(step, wrong[0])!r} does not fit"
    try:
        plain(step.described())
    except (TypeError, ValueError) as error:
        return f"{type(step).__name__}: {error}; a step holds plain, finite values only"
    return _words(step)


def _fits(value: Any, wanted: str) -> bool:
    """Whether a value is what a step's field holds, as far as its annotation is a plain one."""
    if "Mapping" in wanted:
        return isinstance(value, Mapping)
    if "tuple" in wanted:
        return isinstance(value, tuple) and all(isinstance(item, str) for item in value)
    plainly: dict[str, type | tuple[type, ...]] = {
        "str": str, "bool": bool, "int": int, "float": (int, float),
    }  # fmt: skip
    name = wanted.removeprefix("<class '").removesuffix("'>")
    return name not in plainly or isinstance(value, plainly[name])


def _words(step: Step) -> str:
    """The words that must be known ones."""
    for key in getattr(step, "hazards", ()):
        if key not in hazards.SHORT:
            return f"no hazard '{key}'{_near(key, hazards.SHORT)}"
    if isinstance(step, Ask):
        kinds = ("text", "number", "choice", "file", *UNITS)
        if step.kind not in kinds:
            return f"no kind of question '{step.kind}'{_near(step.kind, kinds)}"
        if step.kind == "choice" and not step.choices:
            return f"the question '{step.key}' has no choices"
    if isinstance(step, Measure) and step.measurand not in KINDS:
        return f"nothing measures '{step.measurand}'{_near(step.measurand, KINDS)}"
    if isinstance(step, Read) and step.channel not in CHANNELS:
        return f"no channel '{step.channel}'{_near(step.channel, CHANNELS)}"
    return _noted(step) if isinstance(step, Note) else ""


def _noted(step: Note) -> str:
    if step.kind in RESERVED:
        return f"a note of kind '{step.kind}' is written by the program alone"
    if step.kind == verdict.KIND:
        return verdict.fault(step.body)
    return ""


def _near(word: str, known: Any) -> str:
    near = get_close_matches(word, known, 1)
    return f" (did you mean {near[0]}?)" if near else f" (there is {', '.join(known)})"
