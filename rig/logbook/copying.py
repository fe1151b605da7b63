"""One whole file of a logbook and its side file, while it is written or after a kill."""

import os
import sqlite3
import tempfile
from contextlib import ExitStack, closing
from datetime import datetime
from pathlib import Path

from rig.errors import RigError
from rig.logbook import connect, journal, sidefile
from rig.logbook.hashing import JSON, fingerprint
from rig.logbook.session import Clock, utc_now


def whole_copy(path: connect.StrPath, to: connect.StrPath, *, now: Clock = utc_now) -> int:
    """Copies a logbook with what its side file holds into one file; gives its number of rows.

    A copy of one that is still open, or was left open, ends with a row that says so; every row
    before it is the original's.

    Raises:
        RigError: it cannot be read, its side file is missing, or the copy cannot be written.
    """
    file, target = connect.existing_path(path), connect.new_path(to)
    lacks = sidefile.lacks(file)
    with ExitStack() as stack, connect.reading(file):
        source = stack.enter_context(closing(connect.reader(file)))
        connect.require_version(source, file)
        if lacks and journal.last_mark(source) == journal.OPENED:
            raise RigError(
                f"its side file {sidefile.side_file(file).name} is missing: rows may be lost",
                where=str(path),
                remedy="copy it where both files lie",
            )
        with connect.mending(target):
            connect.require_absent(target)
            return _copied(source, target, now())


def _copied(source: sqlite3.Connection, target: Path, at: datetime) -> int:
    with ExitStack() as unmade:
        handle, name = tempfile.mkstemp(prefix=".copy-", dir=target.parent)
        os.close(handle)
        making = Path(name)
        unmade.callback(making.unlink, missing_ok=True)
        with closing(connect.writer(making, create=True)) as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
            last = journal.head(copy)
            if last is None:
                raise RigError("has no first row", where=str(target), remedy="audit the original")
            if journal.last_mark(copy) == journal.OPENED:
                body: dict[str, JSON] = {
                    "rows": last.number,
                    "fingerprint": fingerprint(last.number, last.hash),
                }
                copy.execute("BEGIN IMMEDIATE")
                last = journal.add(copy, last, max(at, last.at_utc), journal.COPIED, body)
                copy.execute("COMMIT")
        connect.require_absent(target)  # it may have come meanwhile
        making.chmod(0o644)
        making.rename(target)
        unmade.pop_all()
    return last.number
