"""What an audit finds, and the checks of the journal and of the rows it vouches for."""

import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple, cast

from rig.logbook import journal
from rig.logbook.hashing import GENESIS_PREVIOUS, content_hash, row_hash, sha256
from rig.logbook.pages import BadPage, BadRow, Field, Record
from rig.logbook.sidefile import WITHOUT

USE_COPY = "compare with a copy of the logbook made earlier"
Rows = Iterable[Record | BadRow | BadPage]
_TABLE_OF = {journal.RUN_STARTED: "run", journal.RAW_STORED: "raw", journal.RESULT_STORED: "result"}


@dataclass(frozen=True, slots=True)
class Finding:
    """Something wrong in a logbook: where, what, and what to do about it."""

    place: str
    what: str
    remedy: str = USE_COPY

    def __str__(self) -> str:
        return f"{self.place}: {self.what}; {self.remedy}"


class Vouched(NamedTuple):
    """What a journal row says of a row in another table."""

    content: object
    number: int
    run_id: Field


class JournalCheck:
    """Follows the chain from the first row to the last.

    After `findings` is used up, `vouched` holds what the journal says of the other tables,
    `version` the schema version it knows of, `hashes` that of each intact row, `left_open`
    whether its last writer did not close it, `last` the number of its last row, `logbook_id` the
    identity given at creation.
    """

    def __init__(self) -> None:
        self.vouched: dict[tuple[str, object], Vouched] = {}
        self.version: object = None
        self.hashes: dict[int, bytes] = {}
        self.logbook_id = ""
        self.left_open = False
        self._before: list[bytes] = [GENESIS_PREVIOUS]
        self._next = 1
        self._last_at: datetime | None = None

    def findings(self, rows: Rows) -> Iterator[Finding]:
        """Everything wrong with the journal rows, in their order."""
        for row in rows:
            if isinstance(row, BadPage):
                yield bad_page("journal", row)
            elif isinstance(row, BadRow):
                yield Finding(f"journal row {self._next}", f"cannot be read: {row.why}")
                self._go_on_after(self._next)
            else:
                yield from self._numbering(row.fields)
                yield from self._row(row.fields)
        if self._next == 1:
            yield Finding("journal", "holds no rows")

    def _numbering(self, row: tuple[Field, ...]) -> Iterator[Finding]:
        number = cast(int, row[0])
        if number == self._next:
            return
        place = f"journal row {self._next}"
        if number < self._next or self._follows((self._next, *row[1:])):
            yield Finding(place, f"its number was changed to {number}")
            return
        missing = f"journal rows {self._next} to {number - 1} are missing"
        if number - self._next == 1:
            missing = "is missing"
        yield Finding(place, missing)
        self._go_on_after(number - 1)

    def _go_on_after(self, number: int) -> None:
        self._before, self._next = [], number + 1

    def _follows(self, row: tuple[Any, ...]) -> bool:
        return any(_digest(before, row[:-1]) == row[-1] for before in self._before)

    def _row(self, row: tuple[Field, ...]) -> Iterator[Finding]:
        number, (at_utc, run_id, kind, body, digest) = self._next, row[1:]
        place = f"journal row {number}"
        # After an unreadable or missing row nothing vouches for the one that follows it.
        intact = not self._before or self._follows((number, *row[1:]))
        if intact:
            yield from self._time(place, at_utc, kind)
            if isinstance(digest, bytes):
                self.hashes[number] = digest
        else:
            yield Finding(place, "was changed after it was written (its hash does not fit)")
        self._note(number, run_id, kind, body)
        yield from self._marks(place, kind, body)
        # A row that was changed keeps the hash the next row was chained to, unless the
        # change is in that hash: then the next row fits the hash worked out anew.
        heads = [] if intact else self._before[:2]
        anew = [_digest(before, (number, *row[1:-1])) for before in heads]
        self._before = [item for item in (digest, *anew) if isinstance(item, bytes)]
        self._next = number + 1

    def _time(self, place: str, at_utc: Field, kind: Field) -> Iterator[Finding]:
        try:
            at = journal.parse_time(str(at_utc))
        except ValueError:
            yield Finding(place, f"has no valid time ({at_utc!r})")
            return
        last, self._last_at = self._last_at, at
        if last and at < last - journal.CLOCK_TOLERANCE and kind != journal.CLOCK_ACCEPTED:
            yield Finding(
                place,
                f"was written at {journal.time_text(at)}, before the row ahead of it "
                f"({journal.time_text(last)}), and no reason is journalled",
                "find out why the clock went back; times around this row are not to be trusted",
            )

    @property
    def last(self) -> int:
        """Number of the last row."""
        return self._next - 1

    def _marks(self, place: str, kind: Field, text: Field) -> Iterator[Finding]:
        """Who opened and closed it, and whether rows may be missing in between."""
        if kind in (journal.OPENED, journal.CLOSED, journal.COPIED):
            self.left_open = kind == journal.OPENED
        if kind == journal.OPENED and f'"{WITHOUT}"' in str(text):
            yield Finding(
                place,
                "was written on after a program had stopped while writing and its side file -wal "
                "was not there: rows just before this one may be missing",
            )

    def _note(self, number: int, run_id: Field, kind: Field, text: Field) -> None:
        try:
            body = json.loads(str(text))
            if kind == journal.GENESIS:
                self.version, self.logbook_id = body["schema"], str(body["logbook_id"])
            elif kind == journal.MIGRATED:
                self.version = body["to"]
            elif kind in _TABLE_OF:
                table = _TABLE_OF[kind]
                row_id = run_id if table == "run" else body[f"{table}_id"]
                self.vouched[table, row_id] = Vouched(body["content"], number, run_id)
        except (ValueError, KeyError, TypeError, RecursionError):
            return  # a damaged row, which is reported by its hash


def table_findings(
    table: str,
    rows: Rows,
    vouched: dict[tuple[str, object], Vouched],
) -> Iterator[Finding]:
    """Rows of a table against what the journal said of them when they were stored."""
    missing = {row_id for name, row_id in vouched if name == table}
    row_id = 0
    for row in rows:
        if isinstance(row, BadPage):
            yield bad_page(table, row)
            continue
        if isinstance(row, BadRow):
            row_id = row_id + 1
            missing.discard(row_id)
            yield Finding(f"{table} {row_id}", f"cannot be read: {row.why}")
            continue
        row_id, number = row.row_id, cast(int, row.fields[1])
        missing.discard(row_id)
        said = vouched.get((table, row_id))
        place = f"{table} {row_id}"
        if said is None:
            yield Finding(place, "was not stored by the logbook: no journal row names it")
        elif said.number != number:
            yield Finding(place, f"names journal row {number}, it was stored by row {said.number}")
        elif content_of(table, row.fields) != said.content:
            yield Finding(
                place, f"was changed after it was stored (journal row {said.number} has its hash)"
            )
        elif table == "raw":
            yield from _frames(place, row.fields)
    for lost in sorted(missing, key=str):
        yield Finding(f"{table} {lost}", "is missing, or its number was changed")


def content_of(table: str, row: tuple[Any, ...]) -> str:
    """The hash of a row of `run`, `raw` or `result`, columns as in the schema."""
    row_id, _number, *columns = map(_hashable, row)
    if table == "raw" and isinstance(row[-1], bytes):
        columns[-1] = sha256(row[-1])
    return content_hash(row_id, *columns)


def _frames(place: str, row: tuple[Field, ...]) -> Iterator[Finding]:
    *_, length, digest, packed = row
    try:
        unpacker = zlib.decompressobj()
        chunks = unpacker.decompress(cast(bytes, packed), cast(int, length) + 1)
        whole = len(chunks) == length and sha256(chunks) == digest
    except zlib.error:
        whole = False
    if not whole:
        yield Finding(place, "its frames do not unpack to what its hash says")


def bad_page(table: str, page: BadPage) -> Finding:
    """The finding for a page of a table that cannot be read."""
    return Finding(table, f"page {page.number} of the file, which holds some of it, is damaged")


def _digest(before: bytes, row: tuple[Any, ...]) -> bytes:
    number, at_utc, run_id, kind, body = map(_hashable, row)
    return row_hash(before, number, at_utc, run_id, kind, str(body))


def _hashable(value: Field) -> Any:
    return f"bytes {value.hex()}" if isinstance(value, bytes) else value
