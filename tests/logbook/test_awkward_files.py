"""Files that no program was made for: one clear line each, and no sound file accused."""

import errno
import subprocess
import sys
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook, audit, lock
from rig.logbook.audit import audit as checked
from rig.logbook.copying import whole_copy
from tests.cli.commands import ROOT, bladerig, told_in_one_line
from tests.logbook.books import refused, small_book


@pytest.mark.parametrize("command", [("study", "plan"), ("bench", "check")])
def test_brackets_within_brackets_are_told_in_one_line(
    tmp_path: Path, command: tuple[str, str]
) -> None:
    path = tmp_path / "deep.toml"
    path.write_text("a = " + "[" * 5000 + "]" * 5000)
    assert "too deep" in told_in_one_line(bladerig(*command, path))


def test_a_file_system_without_locks_is_not_called_another_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "study.logbook"
    small_book(path)

    def refuse(_: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(lock, "_try_lock", refuse)
    line = refused(path, writable=True)
    assert "its file system gives no lock (No locks available)" in line
    assert "another program" not in line


def test_a_large_logbook_is_checked_as_any_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "study.logbook"
    small_book(path)
    monkeypatch.setattr(audit, "LARGEST_IN_MEMORY", 0)
    assert checked(path) == []
    path.write_bytes(path.read_bytes().replace(b"striker wiped", b"striker oiled"))
    assert [finding.place for finding in checked(path)] == ["journal row 21"]


def test_a_large_logbook_under_way_is_copied_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, to = tmp_path / "study.logbook", tmp_path / "whole.logbook"
    monkeypatch.setattr(audit, "LARGEST_IN_MEMORY", 0)
    with Logbook.create(path, title="t") as book:
        book.append("note", {})
        with pytest.raises(RigError, match="too large to be checked while") as caught:
            checked(path)
        assert "export --copy" in caught.value.remedy
        whole_copy(path, to)
    assert checked(to) == []


LARGE = """
import os, sys
from rig.logbook import Logbook
with Logbook.create(sys.argv[1], title="t") as book:
    run = book.start_run("drop", "5eed", {}, {})
    for n in range(int(sys.argv[2])):
        book.store_raw(run, f"T{n}", os.urandom(1 << 26), {})
"""


def main(folder: Path) -> None:
    """By hand (`python -m tests.logbook.test_awkward_files FOLDER`): a real one of over 2 GiB."""
    path = folder / "large.logbook"
    subprocess.run([sys.executable, "-c", LARGE, str(path), "34"], cwd=ROOT, check=True)
    print(path.stat().st_size, checked(path))
    path.unlink()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
