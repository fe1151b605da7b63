"""A logbook copied without its side file is named as such; a whole copy needs none."""

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.logbook.copying import whole_copy
from rig.logbook.sidefile import side_file
from tests.cli.commands import ROOT, bladerig, told_in_one_line

TRIALS = 3
KILLED = """
import os, sys
from rig.logbook import Logbook
book = Logbook.create(sys.argv[1], title="t")
run = book.start_run("drop", "5eed", {}, {})
for trial in range(int(sys.argv[2])):
    raw = book.store_raw(run, f"T{trial}", bytes(300), {})
    book.store_result(run, f"T{trial}", "peak force", float(trial), [raw])
book.append("note", {"text": "the last that was acknowledged"}, run)
os._exit(9)  # the writer is killed
"""


def killed_after(trials: int, folder: Path) -> Path:
    """Where a writer was killed: the last row stands in the side file only."""
    path = folder / "killed" / "study.logbook"
    path.parent.mkdir()
    code = [sys.executable, "-c", KILLED, str(path), str(trials)]
    assert subprocess.run(code, cwd=ROOT, check=False).returncode == 9
    return path


@pytest.fixture
def killed(tmp_path: Path) -> Path:
    return killed_after(TRIALS, tmp_path)


def bare(path: Path, to: Path) -> Path:
    """A copy of the one file that looks like the logbook."""
    to.mkdir()
    shutil.copy(path, to / path.name)
    return to / path.name


def cut(path: Path) -> None:
    side_file(path).write_bytes(b"")


def removed(path: Path) -> None:
    side_file(path).unlink()


def kinds(path: Path) -> list[str]:
    with Logbook.open(path, writable=False) as book:
        return [row.kind for row in book.journal()]


def test_a_killed_writers_logbook_is_sound_where_it_lies(killed: Path) -> None:
    assert audit(killed) == []
    assert kinds(killed)[-1] == "note"


def test_one_copied_without_its_side_file_is_named_as_such(killed: Path, tmp_path: Path) -> None:
    copy = bare(killed, tmp_path / "copied")
    (finding,) = audit(copy)
    assert finding.place == "file"
    assert "study.logbook-wal is not here" in finding.what
    assert "rows after row" in finding.what
    assert "export --copy" in finding.remedy
    assert audit(copy) == [finding], "reading it leaves no side file that would hide it"
    done = bladerig("audit", copy)
    assert done.returncode == 1 and "study.logbook-wal" in done.stdout


def spoilt_in_its_head(path: Path) -> None:
    data = bytearray(side_file(path).read_bytes())
    data[20] ^= 1
    side_file(path).write_bytes(data)


def zeroed(path: Path) -> None:
    side = side_file(path)
    side.write_bytes(bytes(side.stat().st_size))


def foreign(path: Path) -> None:
    side_file(path).write_bytes(random.Random(1).randbytes(9000))


def cut_in_its_first_frame(path: Path) -> None:
    side_file(path).write_bytes(side_file(path).read_bytes()[:600])


@pytest.mark.parametrize(
    "lose", [cut, removed, zeroed, foreign, spoilt_in_its_head, cut_in_its_first_frame]
)
def test_one_whose_side_file_was_emptied_or_removed_is_named(
    killed: Path, lose: Callable[[Path], None]
) -> None:
    lose(killed)
    assert [finding.place for finding in audit(killed)] == ["file"]


def test_no_trial_at_its_end_is_lost_with_the_side_file(killed: Path, tmp_path: Path) -> None:
    with Logbook.open(bare(killed, tmp_path / "copied"), writable=False) as book:
        assert [result.trial for result in book.results()] == ["T0", "T1", "T2"]


def test_a_writer_killed_before_its_first_trial_is_named_as_well(tmp_path: Path) -> None:
    copy = bare(killed_after(0, tmp_path), tmp_path / "copied")
    assert [finding.place for finding in audit(copy)] == ["file"]


def test_writing_on_without_it_stays_on_record(killed: Path, tmp_path: Path) -> None:
    copy = bare(killed, tmp_path / "copied")
    with Logbook.open(copy, writable=True) as book:
        book.append("note", {"text": "going on"})
    (finding,) = audit(copy)
    assert "its side file -wal was not there: rows just before this one" in finding.what
    with Logbook.open(killed, writable=True) as book:
        book.append("note", {"text": "going on"})
    assert audit(killed) == [], "where both files lay nothing was lost"


def test_a_copy_taken_while_a_writer_works_is_whole(tmp_path: Path) -> None:
    path, to = tmp_path / "study.logbook", tmp_path / "whole.logbook"
    with Logbook.create(path, title="t") as book:
        book.append("note", {"text": "written"})
        printed = book.head_fingerprint()
        rows = whole_copy(path, to)
        assert audit(path) == []
    assert audit(to, printed=printed) == []
    assert kinds(to) == ["genesis", "opened", "note", "copied"] and rows == 4
    assert not side_file(to).exists()
    with Logbook.open(to, writable=True) as book:
        book.append("note", {"text": "a logbook like any other"})
    assert audit(to) == []


def test_a_copy_of_a_closed_logbook_is_the_same_row_by_row(tmp_path: Path) -> None:
    path, to = tmp_path / "study.logbook", tmp_path / "whole.logbook"
    with Logbook.create(path, title="t") as book:
        book.append("note", {})
    whole_copy(path, to)
    with Logbook.open(path, writable=False) as one, Logbook.open(to, writable=False) as other:
        assert one.head_fingerprint() == other.head_fingerprint()


@pytest.mark.parametrize("end", ["-wal", "-shm", "-journal"])
def test_no_logbook_is_made_where_a_side_file_of_another_lies(tmp_path: Path, end: str) -> None:
    path, to = tmp_path / "study.logbook", tmp_path / "other.logbook"
    Logbook.create(path, title="t").close()
    (tmp_path / f"other.logbook{end}").write_bytes(b"left")
    for make in (lambda: whole_copy(path, to), lambda: Logbook.create(to, title="t")):
        with pytest.raises(RigError, match="of another logbook lies here"):
            make()
    with pytest.raises(RigError, match="is a name for a logbook's side files"):
        whole_copy(path, tmp_path / f"study.logbook{end}")


def test_a_copy_takes_no_name_but_its_own(tmp_path: Path) -> None:
    path, kept = tmp_path / "study.logbook", tmp_path / "copy.logbook.new"
    Logbook.create(path, title="t").close()
    kept.write_text("precious")
    whole_copy(path, tmp_path / "copy.logbook")
    assert kept.read_text() == "precious"
    assert len(list(tmp_path.iterdir())) == 3


def test_no_whole_copy_is_made_of_one_that_lacks_its_side_file(
    killed: Path, tmp_path: Path
) -> None:
    with pytest.raises(RigError, match=r"study\.logbook-wal is missing"):
        whole_copy(bare(killed, tmp_path / "copied"), tmp_path / "whole.logbook")
    assert not (tmp_path / "whole.logbook").exists()


def test_the_command_makes_a_whole_copy_and_overwrites_nothing(
    killed: Path, tmp_path: Path
) -> None:
    to = tmp_path / "stick.logbook"
    done = bladerig("export", killed, "--copy", to)
    assert (done.returncode, done.stderr) == (0, "")
    assert "it needs no other file" in done.stdout
    assert audit(to) == []
    before = to.read_bytes()
    assert "exists already" in told_in_one_line(bladerig("export", killed, "--copy", to))
    assert to.read_bytes() == before
    assert "give --out FOLDER, --copy FILE" in told_in_one_line(bladerig("export", killed))
    assert [p for p in os.listdir(tmp_path) if p.endswith(".new")] == []
