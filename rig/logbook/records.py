"""What a logbook gives back."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

Outcome = Literal["finished", "abandoned"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the journal."""

    number: int
    at_utc: datetime
    run_id: int | None
    kind: str
    body: dict[str, Any]


PRACTICE = frozenset({"virtual", "emulated"})
"""Kinds of rig that measure nothing real: a simulated board, or the image in an emulator."""


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a procedure; `ended_utc`, `outcome` and `reason` are None while it is open."""

    run_id: int
    procedure: str
    procedure_hash: str
    params: dict[str, Any]
    versions: dict[str, Any]
    started_utc: datetime
    ended_utc: datetime | None
    outcome: Outcome | None
    reason: str | None

    @property
    def practice(self) -> bool:
        """Whether no real rig was at work."""
        return self.versions.get("device") in PRACTICE


@dataclass(frozen=True, slots=True)
class StoredResult:
    """One result as stored; the current one of a chain has `superseded_by` None."""

    result_id: int
    run_id: int
    trial: str
    measurand: str
    result: Any
    raw_ids: tuple[int, ...]
    supersedes: int | None
    superseded_by: int | None
    stored_utc: datetime
