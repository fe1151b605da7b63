"""Reading the rows of a logbook that may be damaged anywhere."""

import sqlite3
from collections.abc import Iterator
from typing import NamedTuple

from rig.logbook.schema import KEYS

_GIVE_UP = 2000

COLUMNS = {
    "journal": "number, at_utc, run_id, kind, body, hash",
    "run": "run_id, journal_number, procedure, procedure_hash, params, versions",
    "raw": "raw_id, journal_number, run_id, trial, meta, length, sha256, packed",
    "result": "result_id, journal_number, run_id, trial, measurand, result, raw_ids, supersedes",
}

Field = int | str | bytes | None


class Text(bytes):
    """A cell stored as text, undecoded: damaged text need not be UTF-8."""


class Unreadable(NamedTuple):
    """A stretch of rows that SQLite cannot read; `last` is None when nothing after can be."""

    first: int
    last: int | None
    why: str


def rows(connection: sqlite3.Connection, table: str) -> Iterator[tuple[Field, ...] | Unreadable]:
    """Rows of a table in the order they stand in the file, and the stretches that fail.

    The connection's text factory must be `Text`. Text comes as `str` with its damaged bytes
    escaped, so that it hashes byte for byte; a type no column has comes as descriptive text,
    so that it never equals what was stored.
    """
    key, last, failed = KEYS[table], 0, 0
    why = ""
    query = f"SELECT {COLUMNS[table]} FROM {table} WHERE {key} > ? ORDER BY {key}"
    while failed < _GIVE_UP:
        try:
            for row in connection.execute(query, (last,)):
                if failed:
                    yield Unreadable(last - failed + 1, last, why)
                    failed = 0
                last = max(last, row[0])
                yield tuple(map(_field, row))
        except sqlite3.DatabaseError as error:
            why, last, failed = str(error), last + 1, failed + 1
        else:
            break
    if failed:
        yield Unreadable(last - failed + 1, None, why)


def _field(value: object) -> Field:
    if isinstance(value, Text):
        return str(value, "utf-8", "surrogateescape")
    if value is None or isinstance(value, int | bytes):
        return value
    return f"{type(value).__name__} {value!r}"
