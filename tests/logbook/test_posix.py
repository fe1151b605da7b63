"""What only POSIX systems have: owners and rights, links, a limit on a file's size."""

import os
import resource
import signal
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook
from rig.logbook.audit import audit
from tests.cli.commands import bladerig, told_in_one_line
from tests.logbook.books import refused, small_book

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
        datetime.strptime("2026", "%Y")  # loads a module that nobody may not read on some machines
        os.chown(folder, NOBODY, -1)
        os.seteuid(NOBODY)
        try:
            yield folder
        finally:
            os.seteuid(0)


def test_a_second_writer_is_refused_under_another_name_of_the_file(path: Path) -> None:
    other = path.with_name("link.logbook")
    other.symlink_to(path)
    with Logbook.create(path, title="t"), pytest.raises(RigError, match="is writing"):
        Logbook.open(other, writable=True)


def test_a_read_only_file_opens_for_reading_only(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    path.chmod(0o444)
    assert "may not be written" in refused(path, writable=True)
    with Logbook.open(path, writable=False) as book:
        assert len(list(book.journal())) == 22


def test_a_read_only_folder_opens_for_reading_only(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    plain_folder.chmod(0o555)
    assert "cannot write in its folder" in refused(path, writable=True)
    with Logbook.open(path, writable=False) as book:
        assert len(list(book.journal())) == 22
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
        assert len(list(book.journal())) == 22
    plain_folder.chmod(0o755)


def test_an_unreadable_file_is_refused(plain_folder: Path) -> None:
    path = plain_folder / "study.logbook"
    small_book(path)
    path.chmod(0)
    assert "cannot be opened" in refused(path)


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


@pytest.mark.parametrize("command", ["audit", "report", "recompute", "compare", "runs"])
def test_links_that_lead_in_a_circle_are_told_in_one_line(tmp_path: Path, command: str) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    line = told_in_one_line(bladerig(command, tmp_path / "a"))
    assert "its links lead in a circle" in line


def test_a_page_is_not_written_over_links_that_lead_in_a_circle(tmp_path: Path) -> None:
    for one, other in (("a.html", "b.html"), ("b.html", "a.html")):
        (tmp_path / one).symlink_to(tmp_path / other)
    Logbook.create(tmp_path / "k.logbook", title="k").close()
    line = told_in_one_line(
        bladerig("report", tmp_path / "k.logbook", "--out", tmp_path / "a.html")
    )
    assert "its links lead in a circle" in line
    assert (tmp_path / "a.html").is_symlink()
