"""Whose turn it is: which blade of a sealed study a run may take, and out of turn only on record.

A mistyped code wastes a blade that a destructive test breaks, and a blade's own name on the bench
is the end of blindness; so a study whose codes are dealt takes no blade that it does not know.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from rig.commands import typed
from rig.errors import RigError
from rig.guide.script import Script
from rig.logbook.store import Logbook
from rig.study.register import conditions, kept, unlike
from rig.study.register.trials import media, trials


@dataclass(frozen=True)
class Turn:
    """The blade that a run takes.

    Attributes:
        specimen: its code.
        block: of the plan that this trial belongs to; "" when it is not in turn.
        planned: the trial that the plan has next; None when all are made.
        in_turn: whether this run is that trial, or makes one again that did not count.
    """

    specimen: str
    block: str
    planned: kept.Planned | None
    in_turn: bool

    def settings(self, params: Mapping[str, Any], script: Script) -> dict[str, Any]:
        """What the run of these settings takes from the plan."""
        told = {"specimen": self.specimen}
        asides = {one.name for one in script.parameters if not one.measures}
        if "block" in asides and params.get("block") == "":
            told["block"] = self.block
        return told

    def expected(self) -> str:
        """What the plan has next, in words."""
        if self.planned is None:
            return "all planned trials are made"
        return f"the plan has {self.planned.procedure} on {self.planned.code} next"


def turn(book: Logbook, procedure: str, specimen: str) -> Turn | None:
    """The blade that a run of `procedure` takes; None when no sealed study asks for it.

    Args:
        book: the logbook that the run goes into.
        procedure: of the run.
        specimen: as typed; "" takes the one that the plan has next.

    Raises:
        RigError: the study has no blade of this code, several are named, or none is named and none
            is left.
    """
    study = kept.found(book)
    if study is None or study.order is None or procedure not in kept.procedures(study.record):
        return None
    left = kept.left(book, study)
    planned = left[0] if left else None
    codes = kept.codes_of(specimen or _next(procedure, left, book))
    if len(codes) > 1:
        raise RigError(
            f"{len(codes)} blades at once: in a sealed study a trial is of one blade",
            where=str(book.path),
            remedy="name one code: nobody may know here which blades are alike",
            value=specimen,
        )
    (code,) = codes
    if code not in study.order.codes:
        raise RigError(
            f"no blade of this study has the code '{code}'",
            where=str(book.path),
            remedy=f"read its label again; which comes now: {_ask(book)}",
            value=code,
        )
    due = planned is not None and (planned.procedure, planned.code) == (procedure, code)
    _require_there(study, procedure, code, book)
    again = kept.done(book)[procedure, code] > _counted(book, study, study.order, procedure, code)
    block = planned.block if planned is not None and due else ""
    return Turn(code, block, planned, due or again)


def _require_there(study: kept.Kept, procedure: str, code: str, book: Logbook) -> None:
    """Refuse a blade that is told lost."""
    for one in study.lost:
        if one.code == code and one.of(procedure):
            found = typed("bladerig", "study", "found", book.path, code, "--reason", "why")
            raise RigError(
                f"blade {code} is told lost: {one.reason}",
                where=str(book.path),
                remedy=f"read the label again; is it there after all: {found}",
                value=code,
            )


def given(
    book: Logbook, script: Script, wanted: Mapping[str, str], kind: str
) -> tuple[dict[str, str], list[str]]:
    """The settings of a run, those that the study fixes put in; and where it is asked otherwise.

    Args:
        book: the logbook that the run goes into.
        script: its procedure.
        wanted: settings as typed.
        kind: of rig.
    """
    study = kept.found(book)
    sealed = study is not None and study.order is not None
    told = study.fixed.get(script.name, {}) if study is not None and sealed else {}
    known = {one.name: one for one in script.parameters}
    fixed = {name: text for name, text in told.items() if name in known}
    if sealed:
        fixed |= _by_the_first(book, script, known.keys() - fixed.keys(), kind)
    apart = [
        unlike.apart(name, wanted[name], fixed[name])
        for name in fixed
        if name in wanted and conditions.alike(known[name], wanted[name]) != fixed[name]
    ]
    return fixed | dict(wanted), apart


def _by_the_first(
    book: Logbook, script: Script, open_yet: Iterable[str], kind: str
) -> dict[str, str]:
    """What the first trial of this procedure that counts has fixed for the others."""
    wanted = [name for name in conditions.BY_THE_FIRST if name in open_yet]
    order = kept.require(book).order
    for one in trials(book, () if order is None else order.codes, {}) if wanted else ():
        cut = media(book).get(one.run.run_id)
        mine = one.procedure == script.name and one.run.versions.get("device") == kind
        if mine and not one.against and cut:
            return {name: str(cut[name]) for name in wanted if cut.get(name)}
    return {}


def other_bench(book: Logbook, procedure: str, bench: Mapping[str, Any], kind: str) -> list[str]:
    """How bench and calibration differ from the first trial of this procedure that counts.

    Args:
        book: the study's logbook.
        procedure: of the run to come.
        bench: as the run would keep it.
        kind: of rig.
    """
    order = kept.require(book).order
    for one in trials(book, () if order is None else order.codes, {}):
        run = one.run
        if one.procedure == procedure and run.versions.get("device") == kind and not one.against:
            return unlike.of_rig(run, bench, procedure)
    return []


def _counted(book: Logbook, study: kept.Kept, order: kept.Order, procedure: str, code: str) -> int:
    """Runs of a blade that left a trial against which nothing stands."""
    told = trials(book, order.codes, {}, study.fixed, one_bench=bool(order.fixed))
    mine = [one for one in told if one.procedure == procedure and code in one.codes]
    return len({one.run.run_id for one in mine if not one.against})


def _next(procedure: str, left: list[kept.Planned], book: Logbook) -> str:
    """Code of the next trial of this procedure in the plan."""
    for trial in left:
        if trial.procedure == procedure:
            return trial.code
    raise RigError(
        f"all planned trials of {procedure} are made",
        where=str(book.path),
        remedy=f"name the blade to make one again: specimen=CODE; what is left: {_ask(book)}",
    )


def _ask(book: Logbook) -> str:
    return typed("bladerig", "study", "next", book.path)
