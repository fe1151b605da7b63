"""Each wrong file, place or disk is one line for a person, and nothing stored is lost."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook, connect
from rig.logbook.audit import audit
from rig.logbook.lock import lock_path
from tests.logbook.books import refused, small_book


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "study.logbook"


@pytest.mark.parametrize("writable", [False, True])
def test_a_missing_file_is_refused(path: Path, writable: bool) -> None:
    assert "no such logbook" in refused(path, writable=writable)
    assert list(path.parent.iterdir()) == []


@pytest.mark.parametrize("writable", [False, True])
def test_a_folder_is_refused(tmp_path: Path, writable: bool) -> None:
    assert "is a folder" in refused(tmp_path, writable=writable)


@pytest.mark.parametrize("writable", [False, True])
@pytest.mark.parametrize("content", [b"x", b"Dear cutler,\n" * 500, b"SQLite format 3\0" * 99])
def test_a_file_that_is_no_database_is_refused_and_left_as_it_was(
    path: Path, content: bytes, writable: bool
) -> None:
    path.write_bytes(content)
    assert "is not a logbook" in refused(path, writable=writable)
    assert path.read_bytes() == content


def test_an_empty_file_is_refused(path: Path) -> None:
    path.touch()
    assert "empty file" in refused(path)


@pytest.mark.parametrize("writable", [False, True])
def test_a_database_of_another_program_is_refused_and_left_as_it_was(
    path: Path, writable: bool
) -> None:
    with closing(sqlite3.connect(path)) as shell:
        shell.execute("CREATE TABLE journal (number)")
    content = path.read_bytes()
    assert "is not a logbook" in refused(path, writable=writable)
    assert path.read_bytes() == content


@pytest.mark.parametrize("length", [100, 4096, 8192, 20000])
def test_a_file_cut_short_is_refused_for_writing(path: Path, length: int) -> None:
    small_book(path)
    path.write_bytes(path.read_bytes()[:length])
    assert "audit" in refused(path, writable=True)


def test_a_file_whose_last_row_was_changed_is_refused(path: Path) -> None:
    small_book(path)
    image = path.read_bytes()
    path.write_bytes(image.replace(b"closed{}", b"closer{}"))
    assert "journal row 22 was changed" in refused(path, writable=True)


def test_a_file_without_its_triggers_is_refused(path: Path) -> None:
    small_book(path)
    with closing(sqlite3.connect(path)) as shell:
        shell.execute("DROP TRIGGER journal_update")
    assert "tables are not those of a logbook" in refused(path, writable=True)


def test_a_newer_schema_is_refused_with_both_versions(path: Path) -> None:
    small_book(path)
    with closing(sqlite3.connect(path)) as shell:
        shell.execute("PRAGMA user_version = 7")
    line = refused(path)
    assert "schema version 7" in line
    assert "up to 2" in line
    assert "newer release" in line


def test_a_second_writer_is_refused_and_the_first_goes_on(path: Path) -> None:
    with Logbook.create(path, title="t") as book:
        assert "another program is writing this logbook" in refused(path, writable=True)
        assert book.append("note", {}) == 3
    with Logbook.open(path, writable=True) as book:
        assert book.append("note", {}) == 6


def test_a_left_over_lock_file_stops_nobody(path: Path) -> None:
    small_book(path)
    lock_path(path).touch()
    Logbook.open(path, writable=True).close()
    assert not lock_path(path).exists()


def test_a_logbook_is_not_created_over_another_file(path: Path) -> None:
    path.write_text("the only copy of something")
    with pytest.raises(RigError, match="exists already"):
        Logbook.create(path, title="t")
    assert path.read_text() == "the only copy of something"


def test_a_logbook_is_not_created_over_a_folder(tmp_path: Path) -> None:
    folder = tmp_path / "study"
    folder.mkdir()
    with pytest.raises(RigError, match="is a folder"):
        Logbook.create(folder, title="t")


def test_a_path_without_its_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RigError, match=r"does not exist.*create it first"):
        Logbook.create(tmp_path / "no" / "study.logbook", title="t")


def test_a_full_disk_loses_nothing_stored_before(path: Path) -> None:
    with Logbook.create(path, title="t") as book:
        run = book.start_run("drop", "5eed", {}, {})
        connection = book._session.connection
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages + 4}")
        with pytest.raises(RigError, match="the disk is full"):
            book.store_raw(run, "T1", os.urandom(100_000), {})
        assert book.raw_ids() == []
        connection.execute("PRAGMA max_page_count = 1000000")
        assert book.store_raw(run, "T1", os.urandom(100_000), {}) == 1
    assert audit(path) == []


def test_a_disk_full_amid_a_transaction_undoes_all_of_it(path: Path) -> None:
    with Logbook.create(path, title="t") as book:
        run = book.start_run("drop", "5eed", {}, {})
        before = book.head_fingerprint()
        connection = book._session.connection
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages + 4}")
        with pytest.raises(RigError, match="the disk is full"), book.transaction():
            book.append("note", {})
            book.store_raw(run, "T1", os.urandom(100_000), {})
        assert book.head_fingerprint() == before
    assert audit(path) == []


def test_an_sqlite_too_old_for_strict_tables_is_refused(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connect.sqlite3, "sqlite_version_info", (3, 36, 0))
    with pytest.raises(RigError, match=r"3\.37 or newer"):
        Logbook.create(path, title="t")
