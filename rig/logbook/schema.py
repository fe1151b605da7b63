"""The tables of a logbook, version by version.

A published version is never edited: a change is a new entry of `MIGRATIONS`.
"""

import sqlite3
from collections.abc import Mapping, Sequence

APPLICATION_ID = 0x626C_6467
"""Number in the SQLite header that marks a logbook (the letters `bldg`)."""

_TABLES_1 = (
    # run_id is checked at commit: a run and the journal row of its start name each other.
    """CREATE TABLE journal (
    number INTEGER PRIMARY KEY,
    at_utc TEXT NOT NULL,
    run_id INTEGER REFERENCES run (run_id) DEFERRABLE INITIALLY DEFERRED,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    hash BLOB NOT NULL
) STRICT""",
    """CREATE TABLE run (
    run_id INTEGER PRIMARY KEY,
    journal_number INTEGER NOT NULL REFERENCES journal (number),
    procedure TEXT NOT NULL,
    procedure_hash TEXT NOT NULL,
    params TEXT NOT NULL,
    versions TEXT NOT NULL
) STRICT""",
    """CREATE TABLE raw (
    raw_id INTEGER PRIMARY KEY,
    journal_number INTEGER NOT NULL REFERENCES journal (number),
    run_id INTEGER NOT NULL REFERENCES run (run_id),
    trial TEXT NOT NULL,
    meta TEXT NOT NULL,
    length INTEGER NOT NULL,
    sha256 TEXT NOT NULL,
    packed BLOB NOT NULL
) STRICT""",
    """CREATE TABLE result (
    result_id INTEGER PRIMARY KEY,
    journal_number INTEGER NOT NULL REFERENCES journal (number),
    run_id INTEGER NOT NULL REFERENCES run (run_id),
    trial TEXT NOT NULL,
    measurand TEXT NOT NULL,
    result TEXT NOT NULL,
    raw_ids TEXT NOT NULL,
    supersedes INTEGER REFERENCES result (result_id)
) STRICT""",
)

KEYS: Mapping[str, str] = {
    "journal": "number",
    "run": "run_id",
    "raw": "raw_id",
    "result": "result_id",
}
"""Table -> its primary key, which counts 1, 2, 3 ... without gaps."""


COLUMN_COUNTS: Mapping[str, int] = {"journal": 6, "run": 6, "raw": 8, "result": 8}
"""Table -> how many columns it has."""


def _append_only(table: str, key: str) -> tuple[str, ...]:
    """Triggers that refuse every change of a stored row.

    The insert trigger is needed as well: INSERT OR REPLACE removes a row without firing
    delete triggers (SQLite manual, "ON CONFLICT clause").
    """
    return (
        f"""CREATE TRIGGER {table}_update BEFORE UPDATE ON {table} BEGIN
    SELECT RAISE(ABORT, '{table} is append-only');
END""",
        f"""CREATE TRIGGER {table}_delete BEFORE DELETE ON {table} BEGIN
    SELECT RAISE(ABORT, '{table} is append-only');
END""",
        f"""CREATE TRIGGER {table}_insert BEFORE INSERT ON {table}
WHEN NEW.{key} IS NOT (SELECT coalesce(max({key}), 0) + 1 FROM {table}) BEGIN
    SELECT RAISE(ABORT, '{table} rows are numbered without gaps');
END""",
    )


_ONE_SUCCESSOR_1 = """CREATE TRIGGER result_supersedes BEFORE INSERT ON result
WHEN EXISTS (SELECT 1 FROM result WHERE supersedes = NEW.supersedes) BEGIN
    SELECT RAISE(ABORT, 'a result is superseded once');
END"""

MIGRATIONS: Mapping[int, Sequence[str]] = {
    1: (
        *_TABLES_1,
        *(trigger for table, key in KEYS.items() for trigger in _append_only(table, key)),
        _ONE_SUCCESSOR_1,
    ),
    # A resumed run reads its own journal and a page of results reads trial by trial; without
    # these every such look-up reads the whole file, and so does the check for a successor.
    2: (
        "CREATE INDEX journal_by_run ON journal (run_id, number)",
        "CREATE INDEX journal_by_kind ON journal (kind, number)",
        "CREATE INDEX raw_by_trial ON raw (run_id, trial)",
        "CREATE INDEX result_by_trial ON result (run_id, trial)",
        "CREATE INDEX result_by_superseded ON result (supersedes)",
    ),
}

VERSION = max(MIGRATIONS)
"""The schema version this program writes."""


def migrate_to(connection: sqlite3.Connection, version: int) -> None:
    """Brings a file from `version` - 1 to `version`; the caller holds the transaction."""
    for statement in MIGRATIONS[version]:
        connection.execute(statement)
    connection.execute(f"PRAGMA user_version = {version}")


Objects = dict[tuple[str, str], str | None]
"""(type, name) of each object of a database -> its SQL."""


def expected(version: int) -> Objects:
    """The objects a file of a schema version holds."""
    memory = sqlite3.connect(":memory:", isolation_level=None)
    try:
        for step in range(1, version + 1):
            migrate_to(memory, step)
        return found(memory)
    finally:
        memory.close()


def found(connection: sqlite3.Connection) -> Objects:
    """The objects a database holds."""
    rows = connection.execute("SELECT type, name, sql FROM sqlite_schema").fetchall()
    return {
        (_text(kind), _text(name)): None if sql is None else _text(sql) for kind, name, sql in rows
    }


def _text(value: object) -> str:
    # The audit reads text as bytes, and damaged cells may hold any type.
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
