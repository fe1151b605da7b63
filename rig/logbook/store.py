"""The logbook of a study: one SQLite file that only grows."""

import sqlite3
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from rig.errors import RigError
from rig.logbook import connect, journal, query, sidefile
from rig.logbook.hashing import JSON, canonical, content_hash, fingerprint, sha256
from rig.logbook.lock import writer_lock
from rig.logbook.records import Outcome, Row, Run, StoredResult
from rig.logbook.session import Clock, Session, utc_now, write_genesis


class Logbook:
    """One study's file; a context manager, made by `create` or `open`.

    Every method that stores returns only after its rows are forced to the disk, except
    inside `transaction`, where leaving that block does so for all of them together.

    Raises:
        RigError: whatever is wrong with the file, its place or the disk. What was stored
            before stays.
    """

    def __init__(self, session: Session, resources: ExitStack) -> None:
        self._session = session
        self._resources = resources

    @classmethod
    def create(cls, path: connect.StrPath, *, title: str, now: Clock = utc_now) -> Self:
        """Makes a new logbook and opens it for writing."""
        connect.require_sqlite()
        file = connect.new_path(path)
        with ExitStack() as stack, connect.mending(file):
            stack.enter_context(writer_lock(file))
            connect.require_absent(file)
            # Made under another name and renamed when whole: a process killed in between must
            # not leave an empty file that no later one can go on with.
            making = file.with_name(file.name + ".new")
            for left in (making, making.with_name(making.name + "-journal")):
                left.unlink(missing_ok=True)
            unmade = stack.enter_context(ExitStack())
            unmade.callback(making.unlink, missing_ok=True)
            with closing(connect.writer(making, create=True)) as connection:
                write_genesis(connection, title, now())
            making.rename(file)
            connection = connect.writer(file)
            connect.write_ahead(connection)
            unmade.pop_all()
            stack.callback(connection.close)
            return cls(Session(file, connection, now, writable=True), stack.pop_all())

    @classmethod
    def open(cls, path: connect.StrPath, *, writable: bool, now: Clock = utc_now) -> Self:
        """Opens a logbook; for writing also brings it to this program's schema version."""
        connect.require_sqlite()
        file = connect.existing_path(path)
        with ExitStack() as stack, connect.reading(file):
            if writable:
                stack.enter_context(writer_lock(file))
            lacks = writable and sidefile.lacks(file)  # opening it makes an empty one
            connection = connect.writer(file) if writable else connect.reader(file)
            stack.callback(connection.close)
            version = connect.require_version(connection, file)
            session = Session(file, connection, now, writable=writable, lacks_side_file=lacks)
            session.require_sound(version)
            if writable:
                connect.write_ahead(connection)
                session.upgrade(version)
            return cls(session, stack.pop_all())

    def close(self) -> None:
        """Closes the file and frees the writer's place."""
        if self._session.writable:
            # Everything is on the disk already; this only tells so, and tidies.
            with suppress(sqlite3.Error, RigError):
                self._session.mark_closed()
            with suppress(sqlite3.Error):
                connect.settle(self._session.connection)
        self._resources.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def path(self) -> Path:
        """The file, as an absolute path."""
        return self._session.file

    @property
    def writable(self) -> bool:
        """Whether it was opened for writing."""
        return self._session.writable

    # -- the journal

    def append(self, kind: str, body: Mapping[str, JSON], run_id: int | None = None) -> int:
        """Adds one journal row and returns its number.

        Raises:
            journal.ClockSetBack: the clock is more than 2 s behind the last row.
            ValueError, TypeError: the body has no exact JSON form, or the kind is one of
                the logbook's own (`journal.OWN_KINDS`).
        """
        if kind in journal.OWN_KINDS:
            raise ValueError(f"journal rows of kind {kind!r} are written by the logbook itself")
        with self._session.atomic():
            if run_id is not None:
                self._session.require("run", run_id)
            return self._session.add(kind, body, run_id)

    def accept_clock(self, reason: str) -> int:
        """Journals why the clock stands earlier than the last row, and goes on from there."""
        with self._session.atomic():
            last, now = self._session.head(), self._session.now()
            body: dict[str, JSON] = {
                "reason": reason,
                "last_utc": journal.time_text(last.at_utc),
                "now_utc": journal.time_text(now),
            }
            return journal.add(
                self._session.connection, last, now, journal.CLOCK_ACCEPTED, body
            ).number

    def journal(
        self, run_id: int | None = None, kind: str | None = None, *, whole: bool = False
    ) -> Iterator[Row]:
        """Journal rows in order, optionally of one run or one kind.

        `whole`: also those that a changed answer took back.
        """
        with connect.reading(self.path):
            yield from journal.rows(self._session.connection, run_id, kind, whole=whole)

    def head(self) -> tuple[int, bytes]:
        """The last row's number and hash."""
        with connect.reading(self.path):
            last = self._session.head()
        return last.number, last.hash

    def head_fingerprint(self) -> str:
        """The last row's number and the start of its hash, to be printed on reports.

        A chain cannot show that rows are missing at its end, nor that it was written anew from
        some row on; a printed fingerprint can (see `audit.audit`, argument `printed`).
        """
        return fingerprint(*self.head())

    @property
    def title(self) -> str:
        """The title given at creation."""
        return str(self._genesis()["title"])

    @property
    def logbook_id(self) -> str:
        """The random identity given at creation: 32 hex digits."""
        return str(self._genesis()["logbook_id"])

    def _genesis(self) -> dict[str, Any]:
        with connect.reading(self.path):
            return query.genesis(self._session.connection)

    # -- runs

    def start_run(
        self,
        procedure: str,
        procedure_hash: str,
        params: Mapping[str, JSON],
        versions: Mapping[str, JSON],
    ) -> int:
        """Opens a run of a procedure and returns its number."""
        with self._session.atomic():
            run_id = self._session.next_id("run")
            columns = (procedure, procedure_hash, canonical(params), canonical(versions))
            body = {"procedure": procedure, "content": content_hash(run_id, *columns)}
            number = self._session.add(journal.RUN_STARTED, body, run_id)
            self._session.connection.execute(
                "INSERT INTO run VALUES (?, ?, ?, ?, ?, ?)", (run_id, number, *columns)
            )
            return run_id

    def end_run(self, run_id: int, outcome: Outcome, reason: str) -> None:
        """Ends a run; raises RigError when it has ended before or does not exist."""
        with self._session.atomic():
            self._session.settle_after()
            run = self.run(run_id)
            if run.outcome is not None:
                raise RigError(
                    f"run {run_id} was {run.outcome} before",
                    where=str(self.path),
                    remedy="start a new run",
                    value=run_id,
                )
            self._session.add(journal.RUN_ENDED, {"outcome": outcome, "reason": reason}, run_id)

    def run(self, run_id: int) -> Run:
        """One run; raises RigError when there is none of that number."""
        with connect.reading(self.path):
            self._session.require("run", run_id)
            return query.runs(self._session.connection, run_id)[0]

    def runs(self) -> list[Run]:
        """All runs in the order they were started."""
        with connect.reading(self.path):
            return query.runs(self._session.connection)

    def unfinished_runs(self) -> list[Run]:
        """Runs that were started and neither finished nor abandoned."""
        return [run for run in self.runs() if run.outcome is None]

    # -- raw frames and results

    def store_raw(self, run_id: int, trial: str, chunks: bytes, meta: Mapping[str, JSON]) -> int:
        """Stores frames as received and returns their number."""
        with self._session.atomic():
            self._session.require("run", run_id)
            raw_id = self._session.next_id("raw")
            packed, digest = zlib.compress(chunks), sha256(chunks)
            columns = (run_id, trial, canonical(meta), len(chunks), digest)
            body: dict[str, JSON] = {
                "raw_id": raw_id,
                "trial": trial,
                "sha256": digest,
                "content": content_hash(raw_id, *columns, sha256(packed)),
            }
            number = self._session.add(journal.RAW_STORED, body, run_id)
            self._session.connection.execute(
                "INSERT INTO raw VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (raw_id, number, *columns, packed),
            )
            return raw_id

    def raw(self, raw_id: int) -> tuple[bytes, dict[str, Any]]:
        """Frames as received and what was noted with them; RigError when they were changed."""
        with connect.reading(self.path):
            self._session.require("raw", raw_id)
            return query.raw(self._session.connection, self.path, raw_id)

    def raw_ids(self, run_id: int | None = None, trial: str | None = None) -> list[int]:
        """Numbers of the stored frames, optionally of one run or one trial."""
        with connect.reading(self.path):
            return query.raw_ids(self._session.connection, run_id, trial)

    def store_result(
        self,
        run_id: int,
        trial: str,
        measurand: str,
        result: JSON,
        raw_ids: Sequence[int],
        supersedes: int | None = None,
    ) -> int:
        """Stores a result and returns its number; an older result it supersedes stays.

        Raises:
            RigError: the run, a raw or the older result is not in this logbook, the older one
                belongs to another trial or measurand, or it is superseded already.
        """
        with self._session.atomic():
            self._session.require("run", run_id)
            for raw_id in raw_ids:
                self._session.require("raw", raw_id)
            if supersedes is not None:
                self._session.require("result", supersedes)
                query.require_supersedable(
                    self._session.connection, self.path, supersedes, (run_id, trial, measurand)
                )
            self._session.settle_after()
            result_id = self._session.next_id("result")
            texts = (canonical(result), canonical(list(raw_ids)))
            columns = (run_id, trial, measurand, *texts, supersedes)
            body: dict[str, JSON] = {
                "result_id": result_id,
                "trial": trial,
                "measurand": measurand,
                "content": content_hash(result_id, *columns),
            }
            number = self._session.add(journal.RESULT_STORED, body, run_id)
            self._session.connection.execute(
                "INSERT INTO result VALUES (?, ?, ?, ?, ?, ?, ?, ?)", (result_id, number, *columns)
            )
            return result_id

    def results(self, run_id: int | None = None, trial: str | None = None) -> list[StoredResult]:
        """Results, superseded ones too, in the order stored, optionally of one run or trial."""
        with connect.reading(self.path):
            return query.results(self._session.connection, run_id, trial)

    # -- transactions

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything stored in the block reaches the disk together, or none of it."""
        with self._session.atomic():
            yield
