"""One open logbook file: its connection, clock, transactions and the end of its journal."""

import secrets
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from rig.errors import RigError
from rig.logbook import journal, query, schema
from rig.logbook.connect import checkpoint, mending
from rig.logbook.hashing import GENESIS_PREVIOUS, JSON
from rig.logbook.sidefile import WITH, WITHOUT

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The computer's clock."""
    return datetime.now(UTC)


def write_genesis(connection: sqlite3.Connection, title: str, at: datetime) -> None:
    """Makes the tables and the first row of a new file, in one transaction."""
    connection.execute("BEGIN IMMEDIATE")
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    for step in range(1, schema.VERSION + 1):
        schema.migrate_to(connection, step)
    body: dict[str, JSON] = {
        "title": title,
        "schema": schema.VERSION,
        "logbook_id": secrets.token_hex(16),
    }
    before = journal.Head(0, at, GENESIS_PREVIOUS)
    journal.add(connection, before, at, journal.GENESIS, body)
    connection.execute("COMMIT")


class Session:
    """What all parts of an open logbook share.

    Args:
        lacks_side_file: of a logbook that was left unclosed; on record with what is written next.
    """

    def __init__(
        self,
        file: Path,
        connection: sqlite3.Connection,
        now: Clock,
        *,
        writable: bool,
        lacks_side_file: bool = False,
    ) -> None:
        self.file = file
        self.connection = connection
        self.now = now
        self.writable = writable
        self._lacks_side_file = lacks_side_file
        self._marked = False  # the row OPENED is written
        self._to_settle = False
        self._depth = 0

    @contextmanager
    def atomic(self) -> Iterator[None]:
        """A transaction, or within one a part of it that fails as a whole."""
        if not self.writable:
            raise RuntimeError("this logbook was opened for reading only")
        outer = self._depth == 0
        begin, commit, undo = (
            ("BEGIN IMMEDIATE", "COMMIT", ("ROLLBACK",))
            if outer
            else ("SAVEPOINT inner", "RELEASE inner", ("ROLLBACK TO inner", "RELEASE inner"))
        )
        with mending(self.file):
            self._require_alive(begun=not outer)
            self.connection.execute(begin)
            self._depth += 1
            try:
                opening = outer and not self._marked
                if opening:
                    self._mark_opened()
                yield
                self._require_alive(begun=True)
                self.connection.execute(commit)
            except BaseException:
                # A full disk may have ended the transaction already.
                for statement in undo if self.connection.in_transaction else ():
                    self.connection.execute(statement)
                raise
            finally:
                self._depth -= 1
            self._marked = self._marked or opening
            if outer and (opening or self._to_settle):
                self._to_settle = False
                checkpoint(self.connection)

    def settle_after(self) -> None:
        """What this transaction stores goes into the logbook itself as soon as it is whole."""
        self._to_settle = True

    def _mark_opened(self) -> None:
        was = journal.last_mark(self.connection)
        left = None if was != journal.OPENED else WITHOUT if self._lacks_side_file else WITH
        self._mark(journal.OPENED, {"left_open": left})

    def mark_closed(self) -> None:
        """The last row of a writer that wrote any."""
        if self._marked:
            with self.atomic():
                self._mark(journal.CLOSED, {})

    def _mark(self, kind: str, body: Mapping[str, JSON]) -> None:
        last = self.head()
        # A clock set back is a question for what is written next, not for opening and closing.
        journal.add(self.connection, last, max(self.now(), last.at_utc), kind, body)

    def _require_alive(self, *, begun: bool) -> None:
        if begun and not self.connection.in_transaction:
            raise RigError(
                "an earlier failure undid this whole transaction",
                where=str(self.file),
                remedy="mend its cause and store all of it again",
            )

    def head(self) -> journal.Head:
        """The last journal row."""
        last = journal.head(self.connection)
        if last is None:
            raise RigError("has no first row", where=str(self.file), remedy="run the audit on it")
        return last

    def add(self, kind: str, body: Mapping[str, JSON], run_id: int | None = None) -> int:
        """Writes the next journal row at the present time, within a transaction."""
        last, now = self.head(), self.now()
        if now < last.at_utc - journal.CLOCK_TOLERANCE:
            raise journal.ClockSetBack(self.file, last.at_utc, now)
        return journal.add(self.connection, last, now, kind, body, run_id).number

    def next_id(self, table: str) -> int:
        """The number the next row of a table gets."""
        return query.last_id(self.connection, table) + 1

    def require(self, table: str, row_id: int) -> None:
        """RigError when a table has no row of this number."""
        if not 1 <= row_id <= query.last_id(self.connection, table):
            raise RigError(
                f"there is no {table} {row_id} in this logbook",
                where=str(self.file),
                remedy="check the number",
                value=row_id,
            )

    def require_sound(self, version: int) -> None:
        """Refuses a file whose tables, first or last row cannot be gone on from (ValueError)."""
        if schema.found(self.connection) != schema.expected(version):
            raise ValueError("its tables are not those of a logbook")
        query.genesis(self.connection)
        query.require_head_hash(self.connection)

    def upgrade(self, version: int) -> None:
        """Brings an older file to this program's schema version, one transaction a step."""
        for step in range(version + 1, schema.VERSION + 1):
            with self.atomic():
                schema.migrate_to(self.connection, step)
                last = self.head()
                # A clock set back is a question for the first append, not for opening.
                at = max(self.now(), last.at_utc)
                body = {"from": step - 1, "to": step}
                journal.add(self.connection, last, at, journal.MIGRATED, body)
