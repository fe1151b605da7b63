"""What happens in a real week: blades that are lost, found again, and trials that are withdrawn.

Each has its row in the journal and its reason; nothing is taken off the record.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from rig.commands import typed
from rig.errors import RigError
from rig.guide.verdict import verdicts
from rig.logbook.records import Row
from rig.logbook.store import Logbook

LOST, FOUND, WITHDRAWN = "study-lost", "study-found", "withdrawn"
YES, NO, UNKNOWN = "yes", "no", "unknown"


@dataclass(frozen=True)
class Lost:
    """A blade that can be tested no more.

    Attributes:
        code: of the blade.
        reason: in the person's words.
        from_treatment: whether its treatment may have to do with it: yes, no or unknown.
        procedures: for which it is lost; empty for all that were left.
        key_open: whether the key of the codes was open by then.
    """

    code: str
    reason: str
    from_treatment: str
    procedures: tuple[str, ...]
    at_utc: datetime
    key_open: bool = False

    def of(self, procedure: str) -> bool:
        """Whether it is lost for a procedure."""
        return not self.procedures or procedure in self.procedures


@dataclass(frozen=True)
class Withdrawn:
    """A trial that its maker took back, and why.

    Attributes:
        again: whether the plan asks for it anew.
        key_open: whether the key of the codes was open by then.
    """

    run_id: int
    trial: str
    reason: str
    again: bool
    at_utc: datetime
    key_open: bool = False

    @property
    def sentence(self) -> str:
        """Why the trial does not count."""
        late = ", WITH THE KEY OPEN" * self.key_open
        return f"withdrawn on {self.at_utc:%Y-%m-%d %H:%M} UTC{late}: {self.reason}"


def lost(book: Logbook) -> tuple[Lost, ...]:
    """Blades that are lost now, in the order they were lost."""
    told: dict[tuple[str, tuple[str, ...]], Lost] = {}
    for row in book.journal():
        if row.kind == LOST:
            one = _lost(row)
            told[one.code, one.procedures] = one
        elif row.kind == FOUND:
            told = {at: one for at, one in told.items() if one.code != row.body["code"]}
    return tuple(told.values())


def _lost(row: Row) -> Lost:
    body = row.body
    return Lost(
        body["code"], body["reason"], body["from_treatment"], tuple(body["procedures"]),
        row.at_utc, bool(body["key_open"]),
    )  # fmt: skip


def withdrawn(book: Logbook) -> dict[tuple[int, str], Withdrawn]:
    """Trials taken back, by run and name."""
    return {
        (row.run_id or 0, row.body["trial"]): Withdrawn(
            row.run_id or 0, row.body["trial"], row.body["reason"], bool(row.body["again"]),
            row.at_utc, bool(row.body["key_open"]),
        )
        for row in book.journal(kind=WITHDRAWN)
    }  # fmt: skip


def to_make_again(book: Logbook) -> set[int]:
    """Runs whose every trial was taken back to be made anew."""
    back = withdrawn(book)
    made: dict[int, list[str]] = {}
    for row, verdict in verdicts(book):
        if row.run_id is not None:
            made.setdefault(row.run_id, []).append(verdict.trial)
    return {
        run_id
        for run_id, names in made.items()
        if all((run_id, name) in back and back[run_id, name].again for name in names)
    }


def lose(book: Logbook, one: Lost, runs: Sequence[int]) -> None:
    """Put a lost blade on record, and end its unfinished runs."""
    with book.transaction():
        for run_id in runs:
            book.end_run(run_id, "abandoned", f"blade lost: {one.reason}")
        body: dict[str, Any] = {
            "code": one.code, "reason": one.reason, "from_treatment": one.from_treatment,
            "procedures": list(one.procedures), "key_open": one.key_open,
        }  # fmt: skip
        book.append(LOST, body)


def withdraw(book: Logbook, trial: str, reason: str, again: bool, key_open: bool) -> list[str]:
    """Take back a trial by its name, or every trial of a run by its number.

    Returns:
        The names of the trials taken back.

    Raises:
        RigError: there is none of that name, several, or it is withdrawn already.
    """
    fresh = require_fresh(book, trial)
    with book.transaction():
        for run_id, name in fresh:
            body: dict[str, Any] = {
                "trial": name,
                "reason": reason,
                "again": again,
                "key_open": key_open,
            }
            book.append(WITHDRAWN, body, run_id)
    return [name for _, name in fresh]


def require_fresh(book: Logbook, trial: str) -> list[tuple[int, str]]:
    """Runs and names of what a name, or the number of a run, stands for, not withdrawn yet.

    Raises:
        RigError: there is none of that name, several, or it is withdrawn already.
    """
    named = list(named_trials(book, trial))
    runs = sorted({run_id for run_id, _ in named})
    if not named:
        raise RigError(
            f"no trial '{trial}'", where=str(book.path), value=trial,
            remedy="give its name as 'bladerig report' shows it, or the number of its run",
        )  # fmt: skip
    if len(runs) > 1:
        raise RigError(
            f"'{trial}' is a trial of runs {', '.join(map(str, runs))}", where=str(book.path),
            remedy="give the number of its run", value=trial,
        )  # fmt: skip
    before = withdrawn(book)
    fresh = [one for one in named if one not in before]
    if not fresh:
        raise RigError(
            f"'{trial}' is withdrawn already", where=str(book.path), value=trial,
            remedy=f"see: {typed('bladerig', 'study', 'next', book.path.name)}",
        )  # fmt: skip
    return fresh


def named_trials(book: Logbook, trial: str) -> Iterator[tuple[int, str]]:
    """Runs and names of the trials of a name, or of the run of a number."""
    for row, verdict in verdicts(book):
        if row.run_id is None or not verdict.trial:
            continue
        if trial.strip().lower() == verdict.trial.lower() or trial == str(row.run_id):
            yield row.run_id, verdict.trial
