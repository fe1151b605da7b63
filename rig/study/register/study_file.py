"""The study file: read and checked as a whole, every fault at once."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from rig import tables
from rig.study.register import conditions
from rig.study.register.disorder import disorder
from rig.study.register.record import StudyRecord
from rig.study.register.responses import KINDS
from rig.tables import FileFaults


def checked(told: dict[str, Any], text: str, name: str) -> StudyRecord:
    """The tables of a study; `text` and `name` of the file are for the error lines.

    Raises:
        FileFaults: every fault at once, those of single entries and what does not fit together.
    """
    found = list(disorder(told))
    settings = list(conditions.disorder(told, _needed(told)))
    faults = [f"{tables.place(keys, text, name)}: {what}" for keys, what in (*found, *settings)]
    try:
        record = tables.validate(StudyRecord, told, text, name)
        if not faults:
            return record
    except FileFaults as error:
        whole = f"{name}: {'; '.join(what for _, what in found)}"  # the same, told in one
        faults += [fault for fault in error.faults if fault != whole]
    raise FileFaults(sorted(faults, key=tables.line))


def _needed(told: dict[str, Any]) -> list[str]:
    """Procedures of the responses that the tables name."""
    entries = told.get("response")
    names = [
        str(one.get("name"))
        for one in (entries if isinstance(entries, list | tuple) else ())
        if isinstance(one, dict)
    ]
    return list(dict.fromkeys(kind.procedure for kind in KINDS.values() if kind.name in names))


def load(path: Path) -> StudyRecord:
    """Read a study file.

    Raises:
        FileFaults: every fault at once, each with its line and key.
    """
    told, text = tables.read(path, f"make one with 'bladerig study init {path}'")
    blades = told.get("blade")
    asked = _without_load(blades if isinstance(blades, list) else [])
    faults = [f"{tables.place(keys, text, str(path))}: {what}" for keys, what in asked]
    try:
        record = checked(told, text, str(path))
    except FileFaults as error:
        faults += error.faults
    if faults:
        raise FileFaults(sorted(faults, key=tables.line))
    return record


def _without_load(blades: Sequence[Any]) -> Iterator[tuple[tables.Keys, str]]:
    """Blades of which the furnace load is not said; records of earlier versions may hold such."""
    for at, blade in enumerate(blades):
        if isinstance(blade, Mapping) and not str(blade.get("load", "")).strip():
            yield (
                ("blade", str(at), *(("load",) if "load" in blade else ())),
                f"the furnace load of {blade.get('name', 'it')} is not said: blades of one load "
                'are not independent; name the load, or write "unknown" (then its group counts as '
                "treated in one load)",
            )


def with_blade(record: StudyRecord, blade: dict[str, Any]) -> StudyRecord:
    """A study with one blade more; figures of the record itself are SI already.

    Raises:
        FileFaults: what is wrong with it.
    """
    told = record.model_dump(mode="json")
    whole = checked(told | {"blade": [*told["blade"], blade]}, "", "new blade")
    if faults := list(_without_load([blade])):
        raise FileFaults([f"new blade: load: {what}" for _, what in faults])
    return whole
