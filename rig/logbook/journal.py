"""The hash-chained journal: reading it, and adding one row at its end."""

import json
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from rig.errors import RigError
from rig.logbook.hashing import JSON, canonical, row_hash
from rig.logbook.held import held
from rig.logbook.records import Row

GENESIS = "genesis"
MIGRATED = "migrated"
RUN_STARTED = "run-started"
RUN_ENDED = "run-ended"
RAW_STORED = "raw-stored"
RESULT_STORED = "result-stored"
CLOCK_ACCEPTED = "clock-accepted"
STEP = "step"
"""A step of a run with its outcome: in force until a later correction takes it back."""
CORRECTED = "answer-corrected"
"""An answer was changed within its run: its steps from `index` on, and `notes`, are taken back."""
OPENED, CLOSED, COPIED = "opened", "closed", "copied"

OWN_KINDS = frozenset(
    {
        GENESIS, MIGRATED, RUN_STARTED, RUN_ENDED, RAW_STORED, RESULT_STORED, CLOCK_ACCEPTED,
        OPENED, CLOSED, COPIED,
    }
)  # fmt: skip
"""Kinds of rows that only the logbook itself writes."""

CLOCK_TOLERANCE = timedelta(seconds=2)
"""How far back a clock may step unremarked: network time corrections are smaller than this."""

_TIME_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"
_BATCH = 256


class ClockSetBack(RigError):
    """The computer's clock stands earlier than the last row of the journal."""

    def __init__(self, file: Path, last: datetime, now: datetime) -> None:
        super().__init__(
            f"the clock was set back: it shows {time_text(now)}, "
            f"the last row was written at {time_text(last)}",
            where=str(file),
            remedy="set the clock right, or accept it with a reason (run ... --accept-clock 'why')",
            value=now,
        )
        self.last = last
        self.now = now


class Head(NamedTuple):
    """The last row of a journal, as far as the next one needs it."""

    number: int
    at_utc: datetime
    hash: bytes


def last_mark(connection: sqlite3.Connection) -> str | None:
    """Kind of the last row that opened or closed the logbook; None in one of before those rows."""
    found = connection.execute(
        "SELECT kind FROM journal WHERE kind IN (?, ?, ?) ORDER BY number DESC LIMIT 1",
        (OPENED, CLOSED, COPIED),
    ).fetchone()
    return None if found is None else str(found[0])


def time_text(at: datetime) -> str:
    """A UTC time as stored: fixed width, so that text order is time order."""
    return at.astimezone(UTC).strftime(_TIME_FORMAT).rjust(27, "0")


def parse_time(text: str) -> datetime:
    """The time of a stored text; ValueError when it is not one."""
    return datetime.strptime(text, _TIME_FORMAT).replace(tzinfo=UTC)


def head(connection: sqlite3.Connection) -> Head | None:
    """The last row, or None in a file that is being created."""
    found = connection.execute(
        "SELECT number, at_utc, hash FROM journal ORDER BY number DESC LIMIT 1"
    ).fetchone()
    return None if found is None else Head(found[0], parse_time(found[1]), found[2])


def add(
    connection: sqlite3.Connection,
    last: Head,
    at: datetime,
    kind: str,
    body: JSON,
    run_id: int | None = None,
) -> Head:
    """Writes the row after `last`; the caller holds the transaction."""
    number, at_utc, text = last.number + 1, time_text(at), canonical(body)
    digest = row_hash(last.hash, number, at_utc, run_id, kind, text)
    connection.execute(
        "INSERT INTO journal (number, at_utc, run_id, kind, body, hash) VALUES (?, ?, ?, ?, ?, ?)",
        (number, at_utc, run_id, kind, text, digest),
    )
    return Head(number, at, digest)


def taken_back(connection: sqlite3.Connection) -> set[int]:
    """Numbers of the rows that a correction took back: kept, and no longer in force."""
    found: set[int] = set()
    corrections = connection.execute(
        "SELECT number, run_id, body FROM journal WHERE kind = ?", (CORRECTED,)
    ).fetchall()
    for number, run_id, text in corrections:
        body = json.loads(text)
        found.update(body["notes"])
        steps = connection.execute(
            "SELECT number, body FROM journal WHERE kind = ? AND run_id = ? AND number < ?",
            (STEP, run_id, number),
        )
        found.update(step for step, text in steps if json.loads(text)["index"] >= body["index"])
    return found


def rows(
    connection: sqlite3.Connection, run_id: int | None, kind: str | None, *, whole: bool = False
) -> Iterator[Row]:
    """Rows in order, optionally of one run or one kind; those taken back only when `whole`.

    Reads in batches, so that no lock is held while the caller works on a row.
    """
    void = set() if whole else taken_back(connection)
    given = [
        (name, value) for name, value in (("run_id", run_id), ("kind", kind)) if value is not None
    ]
    where = " AND ".join(["number > ?", *(f"{name} = ?" for name, _ in given)])
    query = (
        "SELECT number, at_utc, run_id, kind, body FROM journal "
        f"WHERE {where} ORDER BY number LIMIT {_BATCH}"
    )
    last = 0
    while batch := connection.execute(query, (last, *(value for _, value in given))).fetchall():
        for number, at_utc, run, row_kind, body in batch:
            if number not in void:
                told = held(body, f"journal row {number}")
                yield Row(number, parse_time(at_utc), run, row_kind, told)
        last = batch[-1][0]
