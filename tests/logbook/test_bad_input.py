"""Each wrong file, place or disk is one line for a person, and nothing stored is lost."""

import os
import resource
import signal
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook, connect
from rig.logbook.audit import audit
from rig.logbook.lock import lock_path
from tests.logbook.books import small_book

NOBODY = 65534


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "study.logbook"


@pytest.fixture
def plain_folder() -> Iterator[Path]:
    """A folder of a user who is not the administrator, whom rights would not stop."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if os.geteuid() != 0:
            yield folder
            return
        os.chown(folder, NOBODY, -1)
        os.seteuid(NOBODY)
        try:
            yield folder
        finally:
            os.seteuid(0)


def refused(path: Path, *, writable: bool = False) -> str:
    with pytest.raises(RigError) as caught:
        Logbook.open(path, writable=writable).close()
    line = str(caught.value)
    assert "\n" not in line
    assert str(path) in line
    assert caught.value.remedy
    return line


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
    path.write_bytes(image.replace(b"striker wiped", b"striker oiled"))
    assert "journal row 20 was changed" in refused(path, writable=True)


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
        assert book.append("note", {}) == 2
    with Logbook.open(path, writable=True) as book:
        assert book.append("note", {}) == 3


def test_a_second_writer_is_refused_under_another_name_of_the_file(path: Path) -> None:
    other = path.with_name("link.logbook")
    other.symlink_to(path)
    with Logbook.create(path, title="t"), pytest.raises(RigError, match="is writing"):
        Logbook.open(other, writable=True)


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


def test_a_read_only_file_opens_for_reading_only(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    path.chmod(0o444)
    assert "may not be written" in refused(path, writable=True)
    with Logbook.open(path, writable=False) as book:
        assert len(list(book.journal())) == 20


def test_a_read_only_folder_opens_for_reading_only(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    plain_folder.chmod(0o555)
    assert "cannot write in its folder" in refused(path, writable=True)
    with Logbook.open(path, writable=False) as book:
        assert len(list(book.journal())) == 20
    assert audit(path) == []
    with pytest.raises(RigError, match="cannot write in its folder"):
        Logbook.create(plain_folder / "new.logbook", title="t")
    plain_folder.chmod(0o755)


def test_a_copy_in_write_ahead_mode_is_read_in_a_read_only_folder(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    with closing(sqlite3.connect(path)) as shell:
        shell.execute("PRAGMA journal_mode = WAL")
    plain_folder.chmod(0o555)
    with Logbook.open(path, writable=False) as book:
        assert len(list(book.journal())) == 20
    plain_folder.chmod(0o755)


def test_an_unreadable_file_is_refused(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    path.chmod(0)
    assert "cannot be opened" in refused(path)


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


def test_a_limit_of_the_system_on_the_files_size_is_one_line(path: Path) -> None:
    # Not SQLite's own limit but a write the system refuses (EFBIG), as on a full disk.
    small_book(path)
    old_handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    _, hard = limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:
        with Logbook.open(path, writable=True) as book:
            resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, hard))
            with pytest.raises(RigError) as caught:
                book.store_raw(1, "T1", os.urandom(400_000), {})
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, old_handler)
    assert str(path) in str(caught.value)
    assert audit(path) == []


def test_an_sqlite_too_old_for_strict_tables_is_refused(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connect.sqlite3, "sqlite_version_info", (3, 36, 0))
    with pytest.raises(RigError, match=r"3\.37 or newer"):
        Logbook.create(path, title="t")
