"""What a typed answer means: a quantity, a choice, words, or a file that is there."""

import hashlib
import re
from contextlib import suppress
from pathlib import Path

from rig.errors import RigError
from rig.guide.parameters import plain_text
from rig.guide.steps import Ask, Outcome
from rig.units import SUCH_AS, UNITS, from_si, parse_quantity, unit_of

NO_FILE = "none"
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)")
LIKE = re.compile(r"like ([-+]?[.\d]+ ?[^\s,;()]+)")
"""An example in a question."""


def understood(step: Ask, typed: str) -> Outcome:
    """The outcome of a question.

    Raises:
        RigError: what was typed is no answer to it.
    """
    typed = typed.strip()
    if not typed and step.kind != "file":
        raise RigError("nothing was typed", remedy=_wanted(step))
    if step.kind == "choice":
        return {"value": _choice(step, typed)}
    if step.kind == "file":
        return _file(typed)
    if step.kind in UNITS:
        return {"value": parse_quantity(typed, step.kind)}
    return {"value": plain_text(typed)}


def offered(step: Ask, typed: str) -> str:
    """A bare number with the unit that its question names; "" when it is anything else.

    To be offered back only: a unit is never guessed.
    """
    if step.kind not in UNITS or not NUMBER.fullmatch(typed.strip()):
        return ""
    return f"{typed.strip()} {example(step).split(' ', 1)[1]}"


def example(step: Ask) -> str:
    """A quantity as it could be typed: the one that the question gives, else a usual one."""
    for found in (step.default, *LIKE.findall(step.text)):
        with suppress(RigError):
            parse_quantity(found, step.kind)
            return re.sub(r"^([-+.\deE]+)\s*", r"\1 ", found)
    return SUCH_AS[step.kind]


def shown(kind: str, outcome: Outcome) -> str:
    """An answer in words, a length in millimetres."""
    value = outcome["value"]
    if kind not in UNITS:
        return str(value)
    unit = "mm" if kind == "length" else unit_of(kind)
    return f"{from_si(value, unit, kind):.6g} {unit}"


def _wanted(step: Ask) -> str:
    """What to type in answer to a question."""
    if step.kind == "choice":
        return f"type {', '.join(step.choices)}"
    if step.kind in UNITS:
        return f"type a number and its unit, such as {example(step)}"
    return "type a number" if step.kind == "number" else "type a few words"


def _choice(step: Ask, typed: str) -> str:
    matches = [choice for choice in step.choices if choice.startswith(typed.lower())]
    if typed.lower() in step.choices:
        return typed.lower()
    if len(matches) == 1:
        return matches[0]
    raise RigError(f"'{typed}' is not one of the answers", remedy=f"type {', '.join(step.choices)}")


def _file(typed: str) -> Outcome:
    """The file's path with the SHA-256 of what is in it now, so that a later change shows."""
    if typed.lower() in ("", NO_FILE):
        return {"value": NO_FILE, "sha256": ""}
    if len(typed) > 1 and typed[0] == typed[-1] and typed[0] in "'\"":  # dropped into the window
        typed = typed[1:-1]
    try:
        path = Path(typed).expanduser()
        if not path.is_file():
            what = "is a folder" if path.is_dir() else "no such file"
            raise RigError(what, where=typed, remedy=f"type its path, or {NO_FILE}")
        with path.open("rb") as picture:
            return {"value": typed, "sha256": hashlib.file_digest(picture, "sha256").hexdigest()}
    except (OSError, ValueError, RuntimeError) as error:
        told = getattr(error, "strerror", None) or "no such file"
        raise RigError(told, where=typed, remedy=f"type its path, or {NO_FILE}") from None
