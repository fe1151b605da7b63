"""The study as its logbook keeps it: the record, the order of trials, and the sealed key.

All of it is journaled, so nothing is changed silently: a blade added before the codes are dealt, an
early look at the key, a run out of turn each leave their row. The newest record holds; the codes
are dealt once.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rig.errors import RigError
from rig.guide.verdict import verdicts
from rig.logbook.store import Logbook
from rig.study.register import accidents, conditions, unlike
from rig.study.register.accidents import Lost
from rig.study.register.order import LOGBOOK, Seal, opened, seal
from rig.study.register.record import StudyRecord
from rig.study.register.responses import KINDS

RECORD, ORDER, UNSEALED = "study", "study-order", "study-unsealed"
OUT_OF_TURN = "study-out-of-turn"


@dataclass(frozen=True)
class Planned:
    """One trial of the plan: its place in the order, and what it is."""

    place: int
    block: str
    code: str
    procedure: str
    repeat: int


@dataclass(frozen=True)
class Order:
    """The plan's trials in order, and the sealed key from codes to blades.

    The key is kept packed so that nobody reads it by accident. A determined person can unpack it:
    the seal proves that the key was not changed, and every unsealing by this program is on record.

    Attributes:
        seed: of the order within blocks; shown from the start, it says nothing of the key.
        sealed: key and secret.
        trials: in order.
        fixed: procedure -> its settings that all trials must have alike; empty in early logbooks.
        labels_by: who was to stick the labels on: `OTHER`, `ALONE`, or "" where nobody said.
    """

    seed: int
    sealed: Seal
    trials: tuple[Planned, ...]
    fixed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    labels_by: str = ""

    @property
    def codes(self) -> frozenset[str]:
        """Codes of all blades."""
        return frozenset(trial.code for trial in self.trials)

    def key(self) -> dict[str, str]:
        """Code -> blade.

        Raises:
            RigError: it is not what was sealed.
        """
        return opened(self.sealed)[0]


@dataclass(frozen=True)
class Kept:
    """What the logbook holds of its study.

    Attributes:
        record, order: the newest.
        unsealed: when the key was opened: `at_utc`, `reason`, `trials_left`.
        out_of_turn: runs on another blade than the plan's next: `at_utc`, `procedure`, `specimen`,
            `expected`, `reason`, and of later versions `unlike`.
        lost: blades that can be tested no more.
    """

    record: StudyRecord
    order: Order | None
    unsealed: tuple[dict[str, Any], ...]
    out_of_turn: tuple[dict[str, Any], ...]
    lost: tuple[Lost, ...] = ()

    @property
    def opened(self) -> bool:
        """Whether the key was unsealed."""
        return bool(self.unsealed)

    def key(self) -> dict[str, str]:
        """Code -> blade, of a study whose key is open or lies in its logbook.

        Raises:
            RigError: it is not what was sealed.
        """
        assert self.order is not None  # nothing is opened before it is dealt
        if self.order.sealed.held == LOGBOOK:
            return self.order.key()
        told = self.unsealed[0]["opened"]
        again = seal(told["key"], told["secret"])
        return opened(replace(again, digest=self.order.sealed.digest))[0]

    @property
    def fixed(self) -> dict[str, dict[str, str]]:
        """Procedure -> settings that all its trials must have alike.

        Dealt by an early version: what its file stated. What the first trial fixes is not in it.
        """
        dealt = {} if self.order is None else self.order.fixed
        return {
            name: {
                key: text
                for key, text in (dealt.get(name) or conditions.spelled(self.record, name)).items()
                if text or key not in conditions.BY_THE_FIRST
            }
            for name in procedures(self.record)
        }


def found(book: Logbook) -> Kept | None:
    """The logbook's study; None when it has none."""
    records = [row.body for row in book.journal(kind=RECORD)]
    if not records:
        return None
    orders = [row.body for row in book.journal(kind=ORDER)]
    order = _order(orders[-1], book) if orders else None
    record = StudyRecord.model_validate(records[-1])
    return Kept(
        record, order, _dated(book, UNSEALED), _dated(book, OUT_OF_TURN), accidents.lost(book)
    )


def _dated(book: Logbook, kind: str) -> tuple[dict[str, Any], ...]:
    return tuple({"at_utc": row.at_utc, **row.body} for row in book.journal(kind=kind))


def require(book: Logbook) -> Kept:
    """The logbook's study.

    Raises:
        RigError: it has none.
    """
    kept = found(book)
    if kept is None:
        raise RigError(
            "holds no study", where=str(book.path), remedy="begin one with: bladerig study new"
        )
    return kept


def enter(book: Logbook, record: StudyRecord) -> None:
    """Begin a study, or change its record before the codes are dealt.

    Raises:
        RigError: the codes are dealt already.
    """
    kept = found(book)
    if kept is not None and kept.order is not None:
        raise RigError(
            "the codes are dealt: the study cannot be changed any more",
            where=str(book.path),
            remedy="begin a new study in a logbook of its own",
        )
    book.append(RECORD, record.model_dump(mode="json"))


def procedures(record: StudyRecord) -> dict[str, int]:
    """Procedures that the responses need, in order, with the trials on each blade."""
    wanted: dict[str, int] = {}
    asked = {response.name: response.repeats for response in record.response}
    for kind in KINDS.values():
        if kind.name in asked:
            wanted[kind.procedure] = max(wanted.get(kind.procedure, 1), asked[kind.name])
    return wanted


def _order(body: dict[str, Any], book: Logbook) -> Order:
    if "sealed" not in body:
        raise RigError(
            "its codes were dealt by an early version whose shown seed opened the key",
            where=str(book.path),
            remedy="deal the study anew in a logbook of its own; the runs stay readable as runs",
        )
    trials = tuple(Planned(**trial) for trial in body["trials"])
    return Order(
        body["seed"], Seal(**body["sealed"]), trials, body.get("fixed", {}),
        body.get("labels_by", ""),
    )  # fmt: skip


def codes_of(specimen: str) -> tuple[str, ...]:
    """Codes of a trial's blades: one, or several with commas between when they shared it."""
    return tuple(part.strip().upper() for part in specimen.split(","))


def done(book: Logbook) -> Counter[tuple[str, str]]:
    """Finished runs by (procedure, blade's code).

    Left out are those withdrawn to be made anew, those with other settings than the study's, and
    practice once one is measured.
    """
    again, study = accidents.to_make_again(book), found(book)
    fixed = {} if study is None else study.fixed
    codes: dict[int, tuple[str, ...]] = {}
    for row, verdict in verdicts(book):
        if row.run_id is not None and verdict.specimen:
            codes[row.run_id] = codes_of(verdict.specimen)
    runs = [
        run
        for run in book.runs()
        if run.outcome == "finished"
        and run.run_id in codes
        and run.run_id not in again
        and not unlike.of_settings(run, fixed.get(run.procedure, {}))
    ]
    measured = [run for run in runs if not run.practice]
    return Counter((run.procedure, code) for run in measured or runs for code in codes[run.run_id])


def left(book: Logbook, study: Kept) -> list[Planned]:
    """The plan's trials that are still to be made, in order; none of a blade that is lost."""
    if study.order is None:
        return []
    made = done(book)
    return [
        trial
        for trial in study.order.trials
        if made[trial.procedure, trial.code] < trial.repeat and not is_lost(study, trial)
    ]


def is_lost(study: Kept, trial: Planned) -> bool:
    """Whether a trial's blade is lost for it."""
    return any(one.code == trial.code and one.of(trial.procedure) for one in study.lost)


def unseal(
    book: Logbook, reason: str, sealed: Seal | None = None, labels_left: bool = False
) -> dict[str, str]:
    """Open the key, on record; gives code -> blade. An open key is not opened again.

    Args:
        book: whose study.
        reason: why now.
        sealed: the seal with its key, where that is not in the logbook or is locked.
        labels_left: whether the label sheet still lies beside the logbook.

    Raises:
        RigError: nothing is sealed, or the key was changed.
    """
    kept = require(book)
    if kept.order is None:
        raise RigError("nothing is sealed yet", where=str(book.path), remedy="bladerig study deal")
    if kept.opened:
        return kept.key()
    key, secret = opened(sealed or kept.order.sealed)
    body: dict[str, Any] = {
        "reason": reason, "trials_left": len(left(book, kept)), "labels_left": labels_left,
    }  # fmt: skip
    if kept.order.sealed.held != LOGBOOK:
        body["opened"] = {"key": key, "secret": secret}
    book.append(UNSEALED, body)
    return key
