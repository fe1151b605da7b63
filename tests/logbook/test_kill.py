"""A writer killed at any instant has lost nothing that it reported as stored."""

import random
import subprocess
import sys
from pathlib import Path

from rig.logbook import Logbook
from rig.logbook.audit import audit

ROOT = Path(__file__).parents[2]
KILLS = 20


def killed_after(path: Path, acknowledged: int) -> list[int]:
    """Row numbers a writer had reported when it was killed, at least `acknowledged` of them."""
    command = [sys.executable, "-m", "tests.logbook.writer", str(path)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        lines = [writer.stdout.readline() for _ in range(acknowledged)]
        writer.kill()
        lines.extend(writer.stdout)
    # The kill may have cut the last line short.
    return [int(line) for line in lines if line.endswith("\n")]


def test_every_acknowledged_row_survives_a_killed_writer(tmp_path: Path) -> None:
    path, dice, acknowledged = tmp_path / "study.logbook", random.Random(4), set[int]()
    Logbook.create(path, title="t").close()
    for _ in range(KILLS):
        acknowledged.update(killed_after(path, dice.randrange(1, 120)))
        assert audit(path) == []
        with Logbook.open(path, writable=False) as book:
            numbers = {row.number for row in book.journal()}
        assert acknowledged <= numbers
    with Logbook.open(path, writable=True) as book:
        book.append("note", {"text": "going on"})
        results = book.results()
        assert [result.raw_ids for result in results] == [(i + 1,) for i in range(len(results))]
        assert len(book.unfinished_runs()) == KILLS
    assert audit(path) == []
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_a_kill_while_a_logbook_is_made_leaves_a_place_to_make_it_again(tmp_path: Path) -> None:
    path = tmp_path / "study.logbook"
    for line in ("write_genesis", "write_ahead"):
        code = (
            "import os, sys\n"
            "from rig.logbook import Logbook, connect, store\n"
            "def die(*_): os._exit(9)\n"
            f"setattr(store if {line!r} == 'write_genesis' else connect, {line!r}, die)\n"
            "Logbook.create(sys.argv[1], title='t')\n"
        )
        done = subprocess.run([sys.executable, "-c", code, str(path)], cwd=ROOT, check=False)
        assert done.returncode == 9
        if path.exists():  # killed after the rename: it is whole
            assert audit(path) == []
            path.unlink()
    with Logbook.create(path, title="again") as book:
        assert book.title == "again"
    assert not path.with_name(path.name + ".new").exists()
