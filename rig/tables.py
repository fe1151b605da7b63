"""TOML files that people write, checked as a whole: every fault at once, each with its line."""

import re
import tomllib
import types
import typing
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from rig.errors import RigError

NUMBER = "write it like 2.000, with a point, without quotes and without a unit"

Keys = tuple[str, ...]
M = TypeVar("M", bound=BaseModel)


class FileFaults(RigError):
    """A file has faults; `faults` holds every one, a line each."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = faults
        super().__init__("\n".join(faults))


def read(path: Path, missing: str) -> tuple[dict[str, Any], str]:
    """A TOML file as tables, and its text; `missing` is the remedy when it is not there.

    Raises:
        FileFaults: not there, not readable, not TOML.
    """
    try:
        text = path.read_text(encoding="utf-8")
        return tomllib.loads(text), text
    except FileNotFoundError:
        raise FileFaults([f"{path}: no such file; {missing}"]) from None
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise FileFaults([f"{path}: cannot be read ({why}); check the file"]) from None
    except RecursionError:
        raise FileFaults([f"{path}: brackets within brackets too deep; {missing}"]) from None
    except tomllib.TOMLDecodeError as error:
        raise FileFaults([_not_toml(path, text, str(error))]) from None


def _not_toml(path: Path, text: str, said: str) -> str:
    """What the reader of TOML said, with the line and with what to do."""
    at = re.search(r" \(at line (\d+), column \d+\)", said)
    if at is None:  # at the end of the file
        return f"{path}: {said}; each line is like  key = value"
    number, what = int(at[1]), said.replace(at[0], "")
    there = text.splitlines()[number - 1 : number]
    shown = there[0].strip() if there else ""
    if re.search(r"=\s*[+-]?\d+,\d", shown):
        what, remedy = "a decimal comma", "write the number with a point"
    elif "twice" in what or "overwrite" in what.lower():
        what, remedy = "stands here for the second time", "keep one and put all of it there"
    else:
        remedy = "each line is like  key = value"
    return f"{path}:{number}: {shown}: {what}; {remedy}"


def validate(model: type[M], told: dict[str, Any], text: str, name: str) -> M:
    """The tables as `model`; `text` and `name` of the file are for the error lines.

    Raises:
        FileFaults: every fault, in the order of the file.
    """
    try:
        return model.model_validate(told)
    except ValidationError as error:
        raise FileFaults(sorted(_faults(model, error, text, name), key=line)) from None


def place(keys: Keys, text: str, name: str) -> str:
    """`bench.toml:7: tower.carriage.mass_kg` - the line where the key stands, when it stands.

    Numbers among the keys count tables of the same name from 0; people read them from 1: of
    ("blade", "2", "thickness") it makes `blade 3, thickness`.
    """
    table: Keys = ()
    seen: dict[Keys, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*(\[{1,2})([\w.\s]+)\]", line)
        if header:
            table = _table(header[2], many=header[1] == "[[", seen=seen)
            if table == keys:
                return f"{name}:{number}: {in_words(keys)}"
            continue
        key = re.match(r"\s*([\w.]+)\s*=", line)
        if key and (found := table + tuple(key[1].split("."))) == keys[: len(found)]:
            return f"{name}:{number}: {in_words(keys)}"
    return f"{name}: {in_words(keys)}" if keys else name


def in_words(keys: Keys) -> str:
    """Keys as people say them, entries counted from 1."""
    told = ""
    for key, before in zip(keys, ("", *keys), strict=False):
        if key.isdecimal():
            told += f" {int(key) + 1}"
        else:
            told += f"{', ' if before.isdecimal() else '.' if before else ''}{key}"
    return told


def _table(title: str, *, many: bool, seen: dict[Keys, int]) -> Keys:
    """The keys of a table's header, with the number of each table that is one of many."""
    keys: Keys = ()
    parts = [part.strip() for part in title.split(".")]
    for at, part in enumerate(parts):
        keys = (*keys, part)
        if many and at == len(parts) - 1:
            seen[keys] = seen.get(keys, -1) + 1
        if keys in seen:
            keys = (*keys, str(seen[keys]))
    return keys


def line(fault: str) -> tuple[int, str]:
    """Sort key: faults in the order of the file."""
    number = re.search(r":(\d+): ", fault)
    return (int(number[1]) if number else 0, fault)


def _faults(model: type[BaseModel], error: ValidationError, text: str, name: str) -> Iterator[str]:
    for fault in error.errors():
        keys = tuple(str(part) for part in fault["loc"])
        where = place(keys, text, name)
        kind, value = fault["type"], fault["input"]
        if kind == "extra_forbidden":
            known = _names(model, keys[:-1])
            near = get_close_matches(keys[-1], known, 1)
            hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
            yield f"{where}: unknown key; {hint}"
        elif kind == "missing":
            yield f"{where}: is missing; add it"
        elif kind == "value_error":
            yield f"{where}: {fault['ctx']['error']}"
        else:
            unit = UNITS.get(keys[-1].rpartition("_")[2], "") if keys else ""
            yield f"{where}: {value!r} {_plain(kind, fault.get('ctx', {}), unit)}"


UNITS = {"m": "metres", "kg": "kilograms", "s2": "metres a second squared", "deg": "degrees",
         "n": "newtons", "nm": "newton metres", "s": "seconds"}  # fmt: skip


def _plain(kind: str, context: dict[str, Any], unit: str) -> str:
    limits = {
        "greater_than": "must be above {gt}",
        "greater_than_equal": "must be {ge} or more",
        "less_than": "must be below {lt}",
        "less_than_equal": "must be {le} or less",
        "literal_error": "must be {expected}",
        "string_too_short": "must not be empty",
        "too_short": "needs {min_length} or more",
    }
    if kind in limits:
        check = f"check the value: it is in {unit}" if unit else "check the value"
        return f"{limits[kind].format(**context)}; {check}"
    words = {"bool": "true or false", "int": "a whole number", "string": "text in quotes"}
    wanted = next((word for key, word in words.items() if kind.startswith(key)), "")
    if kind.startswith(("model", "dict")):
        wanted = "a table like [tower.carriage]"
    if kind.startswith(("list", "tuple")):
        wanted = "a list like [1.0, 2.0]"
    return f"is not {wanted}; write it so" if wanted else f"is not a number; {NUMBER}"


def _names(model: type[BaseModel], keys: Keys) -> list[str]:
    """The keys known at a place of the file."""
    for key in keys:
        if key.isdecimal():
            continue
        inner = _model_in(model.model_fields[key].annotation)
        if inner is None:
            return []
        model = inner
    return sorted(model.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The model an annotation holds, itself or as what it is a list of."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is not None:
        return next(filter(None, map(_model_in, typing.get_args(annotation))), None)
    return None


def in_text(value: object) -> str:
    """A setting as the file has it, as a person types it at the bench."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
