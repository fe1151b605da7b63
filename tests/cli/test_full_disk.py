"""A disk that fills up in mid-run: one line, nothing acknowledged is lost, and the run goes on.

The full disk is a limit of the system on the size of a file: the write fails as it does on a full
disk, and unlike a small file system it needs no administrator. SQLite then speaks of a failure of
the disk; what it says of a full one is shown by tests/guide/test_full_disk.py.
"""

import re
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from rig.logbook import Logbook
from rig.logbook.journal import STEP
from tests.cli.commands import ROOT, bladerig, told_in_one_line

# The impact procedure, telling which outcomes it was handed: those must be on the disk.
TELLING = """\
from procedures import drop_impact as inner

TITLE, PARAMETERS = inner.TITLE, inner.PARAMETERS


def procedure(params, bench):
    steps = inner.procedure(params, bench)
    step, index = next(steps), 0
    while True:
        outcome = yield step
        print(f"seen {index}", flush=True)
        index += 1
        try:
            step = steps.send(outcome)
        except StopIteration as end:
            return end.value
"""
# Looks at the edge, how small a damage would have been seen, whether an unrecorded drop fell.
TYPED = "none\n\nunsure\n" * 100


def on_a_disk_of(size: int, *args: object) -> subprocess.CompletedProcess[str]:
    """Run `bladerig ARGS` where no file can grow beyond `size` bytes."""
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    code = f"import resource as r; r.setrlimit(r.RLIMIT_FSIZE, ({size}, {hard}))\n"
    code += "from rig.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-B", "-c", code, *map(str, args)],
        input=TYPED, capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip


def seen(done: subprocess.CompletedProcess[str]) -> set[int]:
    """Numbers of the outcomes the procedure was handed."""
    return {int(number) for number in re.findall(r"^seen (\d+)$", done.stdout, re.MULTILINE)}


def kept(path: Path) -> list[int]:
    """Numbers of the outcomes in the logbook."""
    with Logbook.open(path, writable=False) as book:
        return [row.body["index"] for row in book.journal(kind=STEP)]


# A whole run's side file grows to about 240 kB: each trial at its end goes into the logbook itself.
@pytest.mark.parametrize("size", [80_000, 120_000, 160_000, 200_000])
def test_a_run_on_a_full_disk_stops_in_one_line_and_goes_on_with_space_again(
    tmp_path: Path, size: int
) -> None:
    book, mine = tmp_path / "b.logbook", tmp_path / "mine.py"
    mine.write_text(TELLING, encoding="utf-8")
    run = ("run", mine, book, "energy=5J", "specimen=K3", "--virtual")
    cut = on_a_disk_of(size, *run)
    line = told_in_one_line(cut)
    assert f"{book}: the disk" in line and "audit" in line
    acknowledged, before = seen(cut), kept(book)
    assert acknowledged and acknowledged <= set(before)
    assert before == list(range(len(before)))
    assert bladerig("audit", book).returncode == 0
    done = bladerig("run", mine, book, "--virtual", "--resume", typed=TYPED)
    assert done.returncode == 0, done.stderr
    after = kept(book)
    assert after[: len(before)] == before and after == list(range(len(after)))
    assert bladerig("audit", book).returncode == 0
    with Logbook.open(book, writable=False) as closed:
        assert [r.outcome for r in closed.runs()] == ["finished"]


def test_no_logbook_is_left_half_made_on_a_full_disk(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    line = told_in_one_line(
        on_a_disk_of(20_000, "run", "drop_impact", book, "energy=5J", "specimen=K3", "--virtual")
    )
    assert f"{book}: the disk" in line
    assert list(tmp_path.iterdir()) == []
