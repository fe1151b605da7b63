"""Is a logbook whole and unchanged? Every finding names its place, what is wrong and a remedy.

What an audit cannot see: that rows are missing at the END of the journal (together with what
they stored), or that somebody wrote the whole chain anew from some row on. A hash chain holds
each row to the one before it and nothing holds the last. Against that, reports print the
logbook's `head_fingerprint`; give it as `printed` and the audit says whether that row is still
there as it was. A shop's own signature does the same for who has only the file (`signed`). The side
file `-wal` of a logbook that is being written, or whose writer was
killed, belongs to it: its last rows are in there until the next writer opens and closes the
logbook. One that is not there is found by the row that opened the logbook; rows cut off inside the
side file are not, but never those of a trial that was at its end (`rig.logbook.sidefile`).
"""

import mmap
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import RigError
from rig.logbook import connect, schema, sidefile
from rig.logbook.findings import USE_COPY, Finding, JournalCheck, Rows, table_findings
from rig.logbook.hashing import fingerprint
from rig.logbook.pages import rows

if TYPE_CHECKING:  # its library is not needed for a plain audit
    from rig.logbook.signing import Signature

__all__ = ["NOT_A_LOGBOOK", "Finding", "audit"]

NOT_A_LOGBOOK = "is not a logbook"
"""How what an audit finds of somebody else's file begins."""

LARGEST_IN_MEMORY = 1 << 30  # bytes; SQLite serializes no more than 2 GiB
_MOST = 50
_NAME = {"journal": "journal row", "run": "run", "raw": "raw", "result": "result"}


def audit(
    path: connect.StrPath, *, printed: str | None = None, signed: "Signature | None" = None
) -> list[Finding]:
    """Checks a logbook, reading only.

    Args:
        path: the file.
        printed: a fingerprint from a report, to be found again in the journal.
        signed: a signature (`rig.logbook.signing.verified`) whose row is to be found again.

    Returns:
        What is wrong, at most 50 findings of each check; an empty list for a sound logbook.

    Raises:
        RigError: there is no such file. Whatever is in the file gives findings.
    """
    connect.require_sqlite()
    file = connect.existing_path(path)
    lacked = sidefile.lacks(file)  # before it is opened: SQLite may make an empty one
    try:
        with connect.reading(file):
            connection = connect.reader(file)
    except RigError as error:
        return [Finding("file", error.what, USE_COPY if "audit" in error.remedy else error.remedy)]
    try:
        connection.text_factory = bytes
        if _is_foreign(connection):
            return [Finding("file", NOT_A_LOGBOOK, "name a logbook file")]
        found = _Audit(file, connection, printed, signed)
        return [*found.findings(), *found.side_file(lacked=lacked)]
    finally:
        connection.close()


def _is_foreign(connection: sqlite3.Connection) -> bool:
    """Some other program's database: neither the mark of a logbook nor its journal."""
    try:
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        query = "SELECT count(*) FROM sqlite_schema WHERE name = 'journal'"
        (journals,) = connection.execute(query).fetchone()
    except sqlite3.Error:  # damage, which the audit tells with its place
        return False
    return application != schema.APPLICATION_ID and not journals


class _Audit:
    def __init__(
        self,
        file: Path,
        connection: sqlite3.Connection,
        printed: str | None,
        signed: "Signature | None",
    ) -> None:
        self._file, self._connection = file, connection
        self._printed, self._signed = printed, signed
        self._journal = JournalCheck()
        self._image: bytes | mmap.mmap = b""

    def findings(self) -> list[Finding]:
        checks: tuple[tuple[str, Callable[[], Iterable[Finding]]], ...] = (
            ("file", self._begin),
            ("schema", self._schema),
            ("journal", lambda: self._journal.findings(self._rows("journal"))),
            ("schema", self._version),
            ("run", lambda: self._table("run")),
            ("raw", lambda: self._table("raw")),
            ("result", lambda: self._table("result")),
            ("result", self._raws_of_results),
            ("references", self._references),
            ("file", self._integrity),
            ("fingerprint", self._fingerprint),
            ("signature", self._signature),
        )
        found = [finding for place, check in checks for finding in _limited(place, check)]
        return list(dict.fromkeys(found))

    def side_file(self, *, lacked: bool) -> Iterator[Finding]:
        """Of a logbook that was not closed. Looked for twice: a writer may open it meanwhile."""
        if self._journal.left_open and lacked and sidefile.lacks(self._file):
            name = sidefile.side_file(self._file).name
            yield Finding(
                "file",
                f"its last writer did not close it, and its side file {name} is not here or is "
                f"empty: rows after row {self._journal.last} may be missing",
                f"bring {name} to it, or make a whole copy where it lies: bladerig export --copy",
            )

    def _begin(self) -> Iterator[Finding]:
        """One view of the file for all checks, though a writer may be at work."""
        self._connection.execute("BEGIN")
        self._connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        self._image = self._whole()
        (application,) = self._connection.execute("PRAGMA application_id").fetchone()
        if application != schema.APPLICATION_ID:
            yield Finding("file header", "the mark of a logbook is missing")

    def _whole(self) -> bytes | mmap.mmap:
        """The database as it is in this view; of one too large for memory the file itself."""
        if self._file.stat().st_size <= LARGEST_IN_MEMORY:
            return self._connection.serialize()
        if sidefile.holds_rows(self._file):
            raise RigError(
                "is too large to be checked while its newest rows stand in its side file",
                where=str(self._file),
                remedy="close it where it is written, or audit a copy by 'bladerig export --copy'",
            )
        with self._file.open("rb") as file:
            return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)

    def _schema(self) -> Iterator[Finding]:
        version = self._stored_version()
        if not 1 <= version <= schema.VERSION:
            yield Finding(
                "file header",
                f"schema version {version} is not one of 1 to {schema.VERSION} known here",
                "audit it with a newer release of the program",
            )
            return
        found, expected = schema.found(self._connection), schema.expected(version)
        for kind, name in sorted(found.keys() | expected.keys()):
            if (kind, name) not in found:
                yield Finding(f"{kind} {name}", "is missing")
            elif (kind, name) not in expected:
                yield Finding(f"{kind} {name}", "does not belong into a logbook")
            elif found[kind, name] != expected[kind, name]:
                yield Finding(f"{kind} {name}", "was altered")

    def _stored_version(self) -> int:
        (version,) = self._connection.execute("PRAGMA user_version").fetchone()
        return int(version)

    def _version(self) -> Iterator[Finding]:
        if self._journal.version != self._stored_version():
            yield Finding(
                "file header",
                f"schema version is {self._stored_version()}, "
                f"the journal says {self._journal.version}",
            )

    def _table(self, table: str) -> Iterator[Finding]:
        return table_findings(table, self._rows(table), self._journal.vouched)

    def _rows(self, table: str) -> Rows:
        query = "SELECT rootpage FROM sqlite_schema WHERE type = 'table' AND name = ?"
        root = self._connection.execute(query, (table,)).fetchone()
        if root is None or not isinstance(root[0], int):
            return ()
        return rows(self._image, root[0], schema.COLUMN_COUNTS[table])

    def _raws_of_results(self) -> Iterator[Finding]:
        query = (
            "SELECT result_id, value FROM result, json_each(raw_ids) "
            "WHERE value NOT IN (SELECT raw_id FROM raw)"
        )
        for result_id, raw_id in self._connection.execute(query):
            yield Finding(f"result {result_id}", f"rests on raw {raw_id}, which is not there")

    def _references(self) -> Iterator[Finding]:
        for table, row_id, parent, _ in self._connection.execute("PRAGMA foreign_key_check"):
            yield Finding(
                f"{_named(table)} {row_id}", f"names a row of {_named(parent)} that is not there"
            )

    def _integrity(self) -> Iterator[Finding]:
        for (said,) in self._connection.execute(f"PRAGMA integrity_check({_MOST})"):
            text = said.decode("utf-8", "replace")
            if text != "ok":
                yield Finding("file", f"SQLite reports: {' '.join(text.split())}")

    def _fingerprint(self) -> Iterator[Finding]:
        if self._printed is None:
            return
        number = int(self._printed.partition("-")[0])
        digest = self._journal.hashes.get(number)
        if digest is not None and self._printed == fingerprint(number, digest):
            return
        yield Finding(
            "fingerprint",
            f"no intact journal row has the printed fingerprint {self._printed}",
            "rows are missing at the end, the journal was written anew, or the report "
            "belongs to another logbook: " + USE_COPY,
        )

    def _signature(self) -> Iterator[Finding]:
        signed = self._signed
        if signed is None:
            return
        if signed.logbook_id != self._journal.logbook_id:
            text = "it was made for another logbook"
            yield Finding("signature", text, "name the logbook it belongs to")
        elif self._journal.hashes.get(signed.row, b"").hex() != signed.hash:
            yield Finding(
                "signature",
                f"journal row {signed.row} is not the one that was signed: rows are missing, or "
                "the journal was written anew after it was signed",
            )


def _named(table: object) -> str:
    name = table.decode("utf-8", "replace") if isinstance(table, bytes) else str(table)
    return _NAME.get(name, name)


def _limited(place: str, check: Callable[[], Iterable[Finding]]) -> Iterator[Finding]:
    """The findings of one check; one that SQLite cannot carry out is a finding itself."""
    found = 0
    try:
        for finding in check():  # to its end: later checks build on what it has read
            found += 1
            if found <= _MOST:
                yield finding
    except (sqlite3.Error, MemoryError) as error:
        yield Finding(place, f"cannot be checked further ({error})")
    if found > _MOST:
        yield Finding(place, f"{found - _MOST} more findings are not shown")
