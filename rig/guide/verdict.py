"""The verdict on a trial: what a procedure notes, and what page, study and export read.

A verdict has a state, reasons as names with words, and says itself whether there is a result: no
key that is missing means anything. Journals of earlier versions hold theirs as plain tables;
`read` brings them forward on reading, and the rows stay as they are.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, Self

from rig.guide.steps import Note
from rig.logbook.records import Row
from rig.logbook.store import Logbook
from rig.measure.budget import Reason

KIND = "verdict"
FORM = 2  # of the note's body; those of form 1 do not name it


class State(StrEnum):
    """What a verdict comes to."""

    VALID = "valid"
    INDICATION = "indication only"
    NOT_VALID = "not valid"
    UNRECORDED = "unrecorded"


@dataclass(frozen=True)
class Verdict:
    """What came of one trial. Made by `judged` and `unrecorded`, which find the state.

    Attributes:
        trial: its name; "" in a note of an early script that named none.
        specimen: code of the blade, several with commas between; "" when it was on none.
        state: VALID; INDICATION: valid, but `lacks` something that a comparison asks for;
            NOT_VALID: `reasons` stand against it; UNRECORDED: it was, or may have been, made, and
            nothing of it is on record (`reasons` say how).
        result_id: of its result; None when it has none.
        censored: "right" when its value is only a bound: at least that much; "left": at most.
        damage: of the edge as entered: `kind`, sizes, `u_m`.
        life: of an edge: `last_pass_cuts`, `first_fail_cuts` (None: still sharp at the end).
        stair: a staircase drop by drop: `levels_j`, `failed`, `blades`, `step_j`.
        details: what else the procedure tells of it, by names with units.
    """

    trial: str
    specimen: str
    state: State
    reasons: tuple[Reason, ...] = ()
    lacks: tuple[Reason, ...] = ()
    result_id: int | None = None
    censored: str = ""
    damage: Mapping[str, Any] | None = None
    life: Mapping[str, Any] | None = None
    stair: Mapping[str, Any] | None = None
    details: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.state is not _state(self.reasons, self.lacks, self.state is State.UNRECORDED):
            raise ValueError(f"{self.trial}: {self.state} does not go with its reasons")
        if self.state is State.UNRECORDED and not (self.reasons and self.result_id is None):
            raise ValueError(f"{self.trial}: unrecorded without a reason, or with a result")

    @classmethod
    def judged(
        cls, trial: str, specimen: str, result: Mapping[str, Any] | None = None,
        against: Sequence[Reason] = (), lacks: Sequence[Reason] = (), **more: Any,
    ) -> Self:  # fmt: skip
        """The verdict on a trial that was made.

        Args:
            trial: its name.
            specimen: code of its blade.
            result: outcome of its `Measure` step, whose reasons stand against it too.
            against: what else stands against it, told first.
            lacks: why its numbers are an indication only.
            more: `censored`, `damage`, `life`, `stair`, `details`.
        """
        reasons = (*against, *(Reason(**one) for one in (result or {}).get("reasons", ())))
        number = None if result is None else result["result_id"]
        state = _state(reasons, lacks, False)
        return cls(trial, specimen, state, reasons, tuple(lacks), number, **more)

    @classmethod
    def unrecorded(
        cls, trial: str, specimen: str, reasons: Sequence[Reason], **details: Any
    ) -> Self:
        """The verdict on a trial that may have used its specimen up while nobody recorded it."""
        return cls(trial, specimen, State.UNRECORDED, tuple(reasons), details=details)

    @property
    def valid(self) -> bool:
        """Whether nothing stands against the trial itself, be it an indication only."""
        return self.state in (State.VALID, State.INDICATION)

    @property
    def words(self) -> list[str]:
        """What stands against it."""
        return [reason.text for reason in self.reasons]

    @property
    def indication(self) -> list[str]:
        """Why its numbers are an indication only."""
        return [reason.text for reason in self.lacks]

    def but(self, *against: Reason, **details: Any) -> Self:
        """The same with more against it, told after the rest, and with more details."""
        reasons = (*self.reasons, *against)
        state = _state(reasons, self.lacks, self.state is State.UNRECORDED)
        return replace(self, state=state, reasons=reasons, details={**self.details, **details})

    def taken_back(self, why: Reason) -> Self:
        """As it stands once its maker withdrew it."""
        state = self.state if self.state is State.UNRECORDED else State.NOT_VALID
        return replace(self, state=state, reasons=(why, *self.reasons))

    def to_dict(self) -> dict[str, Any]:
        """Plain data, as journaled."""
        own = {name: getattr(self, name) for name in PLAIN}
        return own | {
            "form": FORM,
            "state": str(self.state),
            **{name: [vars(one).copy() for one in getattr(self, name)] for name in REASONED},
        }

    def summary(self) -> dict[str, Any]:
        """For programs and people: one flat table, reasons in words."""
        found = {name: getattr(self, name) for name in ("damage", "life", "stair")}
        return {
            "trial": self.trial,
            "specimen": self.specimen,
            "state": str(self.state),
            "valid": self.valid,
            "reasons": self.words,
            "indication": self.indication,
            "censored": self.censored,
            "result_id": self.result_id,
            **{name: None if one is None else dict(one) for name, one in found.items()},
            **self.details,
        }

    def note(self) -> Note:
        """The step that puts it on record."""
        return Note(f"Verdict of {self.trial}", kind=KIND, body=self.to_dict())


PLAIN = (
    "trial", "specimen", "result_id", "censored", "damage", "life", "stair", "details",
)  # fmt: skip
REASONED = ("reasons", "lacks")


def _state(reasons: Sequence[Reason], lacks: Sequence[Reason], unrecorded: bool) -> State:
    if unrecorded:
        return State.UNRECORDED
    if reasons:
        return State.NOT_VALID
    return State.INDICATION if lacks else State.VALID


def verdicts(book: Logbook, run_id: int | None = None) -> Iterator[tuple[Row, Verdict]]:
    """Every verdict of a logbook, or of a run, with its row."""
    return ((row, read(row.body)) for row in book.journal(run_id, KIND))


def read(body: Mapping[str, Any]) -> Verdict:
    """The verdict that a note's body holds, of this version or an earlier one."""
    return _from_dict(body) if body.get("form") == FORM else _migrated(body)


def fault(body: Mapping[str, Any]) -> str:
    """Why the body of a note is no verdict of this version; "" when it is one."""
    try:
        _from_dict(body)
    except (KeyError, TypeError, ValueError) as error:
        why = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        return (
            f"a note of kind '{KIND}' holds no verdict ({why}): yield "
            "Verdict.judged(trial, specimen, result).note() of rig.guide.verdict"
        )
    return ""


def _from_dict(body: Mapping[str, Any]) -> Verdict:
    found: dict[str, Any] = {name: tuple(Reason(**one) for one in body[name]) for name in REASONED}
    plain: dict[str, Any] = {name: body[name] for name in PLAIN}
    return Verdict(**plain, **found, state=State(body["state"]))


# -- of form 1: plain tables whose missing keys had a meaning


UNSAID = Reason("unsaid", "it is not valid")
_OWN = {
    "trial", "specimen", "valid", "reasons", "indication", "result_id", "censored", "damage",
    "life", "stair",
}  # fmt: skip
"""Keys of form 1 that have a place of their own; all others are details."""


def _migrated(body: Mapping[str, Any]) -> Verdict:
    """A verdict of form 1; a script of somebody's own may have noted any table as one."""
    valid, number = bool(body.get("valid")), body.get("result_id")
    reasons = tuple(Reason("", str(text)) for text in body.get("reasons") or ())
    lacks = tuple(Reason("", str(text)) for text in body.get("indication") or ())
    against = reasons or (() if valid else (UNSAID,))
    # Only of a trial that does not count did a missing number say that nobody recorded it.
    unrecorded = bool(against) and number is None and bool(body.get("trial"))
    damage = body.get("damage")
    return Verdict(
        trial=str(body.get("trial") or ""),
        specimen=str(body.get("specimen") or ""),
        state=_state(against, lacks, unrecorded),
        reasons=against,
        lacks=lacks,
        result_id=number,
        censored=str(body.get("censored") or ""),
        damage=damage if isinstance(damage, Mapping) or damage is None else {"kind": damage},
        life=body.get("life"),
        stair=body.get("stair"),
        details={key: value for key, value in body.items() if key not in _OWN},
    )
