"""What a study fixes of each procedure before the first trial: the settings that change what is
measured, so that all blades are tested alike."""

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from rig.errors import RigError
from rig.guide import script
from rig.guide.parameters import Parameter
from rig.study.register.responses import KINDS
from rig.tables import Keys, in_text
from rig.units import SUCH_AS

if TYPE_CHECKING:
    from rig.study.register.record import StudyRecord

BY_THE_FIRST = ("lot",)
"""What the first trial that counts fixes for the others, where the study file leaves it open."""
BY_THE_PLAN = ("specimen", "block")
"""What the plan gives each run, trial by trial."""


def stated(record: "StudyRecord", procedure: str) -> dict[str, str]:
    """The settings that the study file gives a procedure."""
    told: dict[str, str] = {}
    for response in record.response:  # files of early versions state them there
        if response.kind.procedure == procedure:
            told |= response.settings
    return told | record.settings.get(procedure, {})


def fixed(record: "StudyRecord", procedure: str) -> dict[str, str]:
    """All that trials of a procedure must have alike, as a person types it: what the file states,
    and the default of everything else that changes what is measured."""
    usual = {
        one.name: alike(one, one.default)
        for one in script.load(procedure).parameters
        if one.measures and one.default is not None
    }
    return usual | spelled(record, procedure)


def spelled(record: "StudyRecord", procedure: str) -> dict[str, str]:
    """What the study file states of a procedure, each setting in its one spelling."""
    known = {one.name: one for one in script.load(procedure).parameters}
    return {
        name: alike(known[name], text)
        for name, text in stated(record, procedure).items()
        if name in known and name not in BY_THE_PLAN
    }


def alike(parameter: Parameter, text: str) -> str:
    """One spelling of a setting: "5000 mJ" and "5J" are both "5 J"; as it stands if it has none."""
    try:
        return parameter.shown(parameter.read(text))
    except RigError:
        return text


def disorder(told: Mapping[str, Any], procedures: Iterable[str]) -> Iterator[tuple[Keys, str]]:
    """Each fault of a study file's settings, with its place.

    Args:
        told: the tables of the file.
        procedures: that its responses need.
    """
    needed = list(procedures)
    tables = told.get("settings")
    given = tables if isinstance(tables, Mapping) else {}
    for procedure, settings in given.items():
        if procedure not in needed:
            yield (
                ("settings", procedure),
                "no response asks for this procedure"
                + (f"; asked for: {', '.join(needed)}" if needed else ""),
            )
        elif isinstance(settings, Mapping):
            yield from _faults(procedure, settings, ("settings", procedure))
    early = _of_responses(told)
    for at, procedure, settings in early:
        yield from _faults(procedure, settings, ("response", str(at), "settings"))
    for procedure in needed:
        have = set(given.get(procedure) or ()).union(*(s for _, p, s in early if p == procedure))
        yield from _missing(procedure, have)


def _of_responses(told: Mapping[str, Any]) -> list[tuple[int, str, Mapping[str, Any]]]:
    """Number, procedure and settings of responses that state some themselves."""
    entries = told.get("response")
    return [
        (at, KINDS[one["name"]].procedure, one["settings"])
        for at, one in enumerate(entries if isinstance(entries, list | tuple) else ())
        if isinstance(one, Mapping)
        and one.get("name") in KINDS
        and isinstance(one.get("settings"), Mapping)
    ]


def _faults(procedure: str, settings: Mapping[str, Any], at: Keys) -> Iterator[tuple[Keys, str]]:
    known = {one.name: one for one in script.load(procedure).parameters}
    for name, value in settings.items():
        if name in BY_THE_PLAN:
            yield (*at, name), "is given by the plan, trial by trial; leave it out"
        elif name not in known:
            takes = ", ".join(sorted(known.keys() - set(BY_THE_PLAN)))
            yield (*at, name), f"{procedure} has no such setting; it takes {takes}"
        else:
            try:
                known[name].read(in_text(value))
            except RigError as error:
                yield (*at, name), f"{error.what}; {error.remedy}"


def _missing(procedure: str, have: set[str]) -> Iterator[tuple[Keys, str]]:
    for parameter in script.load(procedure).parameters:
        if parameter.default is None and parameter.name not in have:
            yield (
                (),
                f"{procedure} needs {parameter.name} ({parameter.help}), and all its trials the "
                f"same one; write it below a line [settings.{procedure}], like "
                f'{parameter.name} = "{SUCH_AS.get(parameter.kind, "...")}"',
            )
