"""A file of schema version 1, built here from its frozen text, comes forward whole."""

import hashlib
import json
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook, schema
from rig.logbook.audit import audit
from tests.logbook.books import START, Clock

SCHEMA_1 = Path(__file__).with_name("schema_1.sql")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A version-1 file with a run, made without the program's own code."""
    path = tmp_path / "old.logbook"
    columns = ["drop", "5eed", '{"height_m":0.25}', '{"rig":"0.1"}']
    content = hashlib.sha256(_text([1, *columns])).hexdigest()
    genesis = {"logbook_id": "ab" * 16, "schema": 1, "title": "An old study"}
    with closing(sqlite3.connect(path)) as shell:
        shell.executescript(SCHEMA_1.read_text())
        shell.execute("PRAGMA application_id = 1651270759")
        shell.execute("PRAGMA user_version = 1")
        last = _row(shell, bytes(32), 1, None, "genesis", genesis)
        body = {"content": content, "procedure": "drop"}
        _row(shell, last, 2, 1, "run-started", body)
        shell.execute("INSERT INTO run VALUES (1, 2, ?, ?, ?, ?)", columns)
        shell.commit()
    return path


def _text(value: object) -> bytes:
    return json.dumps(value, separators=(",", ":"), sort_keys=True).encode()


def _row(
    shell: sqlite3.Connection, last: bytes, number: int, run: int | None, kind: str, body: object
) -> bytes:
    at_utc = f"2031-05-06T07:08:0{number}.000000Z"
    digest = hashlib.sha256(last + _text([number, at_utc, run, kind]) + b"\n" + _text(body))
    shell.execute(
        "INSERT INTO journal VALUES (?, ?, ?, ?, ?, ?)",
        (number, at_utc, run, kind, _text(body).decode(), digest.digest()),
    )
    return digest.digest()


def indexes(path: Path) -> set[str]:
    with closing(sqlite3.connect(path)) as shell:
        rows = shell.execute("SELECT name FROM sqlite_schema WHERE type = 'index'").fetchall()
    return {name for (name,) in rows}


def test_version_1_is_what_it_was_when_it_was_published() -> None:
    statements = ";\n".join(schema.MIGRATIONS[1]) + ";\n"
    assert statements == SCHEMA_1.read_text()


def test_an_old_file_passes_the_audit_and_reads_without_being_changed(old: Path) -> None:
    before = old.read_bytes()
    assert audit(old) == []
    with Logbook.open(old, writable=False) as book:
        assert book.title == "An old study"
        assert [run.params for run in book.runs()] == [{"height_m": 0.25}]
        assert len(list(book.journal(run_id=1))) == 1
    assert old.read_bytes() == before


def test_opening_for_writing_brings_an_old_file_forward_and_journals_it(old: Path) -> None:
    with Logbook.open(old, writable=True, now=Clock()) as book:
        row = list(book.journal())[-1]
        assert (row.number, row.kind, row.body) == (4, "migrated", {"from": 1, "to": 2})
        assert book.append("step", {}, 1) == 5
    assert "journal_by_run" in indexes(old)
    assert audit(old) == []
    with Logbook.open(old, writable=True, now=Clock()) as book:
        assert len(list(book.journal())) == 6


def test_a_clock_set_back_does_not_stop_the_migration_but_the_first_append(old: Path) -> None:
    early = Clock(START - timedelta(days=1))
    with Logbook.open(old, writable=True, now=early) as book:
        with pytest.raises(RigError, match="the clock was set back"):
            book.append("note", {})
        book.accept_clock("the computer was replaced")
        book.append("note", {})
    assert audit(old) == []


def test_a_migration_that_fails_leaves_the_old_file(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = {**schema.MIGRATIONS, 2: [*schema.MIGRATIONS[2], "CREATE INDEX again ON gone (x)"]}
    monkeypatch.setattr(schema, "MIGRATIONS", broken)
    with pytest.raises(RigError, match="damaged"):
        Logbook.open(old, writable=True, now=Clock())
    monkeypatch.undo()
    assert indexes(old) == set()
    assert audit(old) == []
