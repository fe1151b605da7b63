"""The command line against what only POSIX systems have: rights, signals, devices."""

import os
import shutil
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

from rig.cli.ending import ended
from rig.logbook import Logbook
from tests.cli.commands import ROOT, bladerig, told_in_one_line
from tests.cli.inside import done, refused, script

RUN = ("run", "drop_impact")
IMPACT = ("energy=5J", "specimen=K3", "--virtual")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "b.logbook"
    Logbook.create(path, title="b").close()
    return path


def test_a_device_that_is_no_serial_port_is_refused(book: Path) -> None:
    line = refused(*RUN, book, "energy=5J", "specimen=K3", "--port", "/dev/null")
    assert "not a serial port" in line


def test_a_full_disk_is_told_in_one_line_that_names_the_page(tmp_path: Path) -> None:
    mine, path = script(tmp_path, "yield Tell('a')"), tmp_path / "b.logbook"
    done("run", mine, path, "--virtual")
    line = told_in_one_line(bladerig("report", path, "--out", "/dev/full"))
    assert "/dev/full: No space left" in line


def test_a_read_only_logbook_can_be_read_but_not_run_into(tmp_path: Path) -> None:
    shared = Path("/tmp/bladerig-read-only-test")
    shutil.rmtree(shared, ignore_errors=True)
    shared.mkdir(mode=0o755)
    path = shared / "b.logbook"
    Logbook.create(path, title="b").close()
    path.chmod(stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH)
    shared.chmod(0o555)
    # Root may write anything: step down once everything this command needs is imported.
    code = "import os, rig.cli, rig.session.guided, rig.study.register.turn, rig.logbook.store\n"
    code += "import rig.bench, rig.logbook, rig.guide.script, pydantic, numpy\n"
    code += "rig.guide.script.load('drop_impact'), rig.bench.load(None)\n"
    code += "os.geteuid() or os.seteuid(65534)\nrig.cli.main()"
    done = subprocess.run(
        [sys.executable, "-B", "-c", code, *RUN, str(path), "energy=5J", "--virtual"],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    shared.chmod(0o755)
    assert str(path) in told_in_one_line(done)
    assert bladerig("runs", path).returncode == 0
    shutil.rmtree(shared)


def test_ctrl_c_stops_with_code_130_and_the_run_can_be_resumed(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    child = subprocess.Popen(
        [sys.executable, "-c", "from rig.cli import main; main()", "run", "drop_impact", str(book),
         *IMPACT],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert child.stdout is not None
    for line in child.stdout:  # the first question is on the screen: the run has begun
        if "Enter when" in line:
            break
    time.sleep(0.05)
    child.send_signal(signal.SIGINT)
    _, errors = child.communicate(timeout=60)
    assert child.returncode == 130
    assert "disarmed. Go on with: bladerig run" in errors and "Traceback" not in errors
    assert "resume" in done("runs", book)


def test_a_command_ends_well_while_its_input_is_still_open_or_was_never_there(
    tmp_path: Path,
) -> None:
    mine, path = script(tmp_path, "yield Ask('Which?', key='which')"), tmp_path / "b.logbook"
    run = [sys.executable, "-c", "from rig.cli import main; main()", "run", mine, path, "--virtual"]
    open_end, typing_end = os.pipe()
    os.write(typing_end, b"K\xff3\n")  # an odd byte is an odd answer, not the end
    done = subprocess.run(
        run, stdin=open_end, capture_output=True, text=True, cwd=ROOT, check=False
    )
    os.close(open_end)
    os.close(typing_end)
    assert done.returncode == 0 and not done.stderr, done.stderr
    never = subprocess.run(
        ["sh", "-c", '"$@" <&-', "sh", *map(str, run)],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert "the input ended before the run did" in told_in_one_line(never)


def test_a_new_logbook_where_nobody_may_write_is_refused_with_a_remedy_that_helps() -> None:
    # Root may write anything: a process of its own steps down.
    code = "import os, pathlib, tempfile\nfrom rig.logbook.lock import writer_lock\n"
    code += "folder = tempfile.mkdtemp()\nos.chmod(folder, 0o555)\n"
    code += "os.geteuid() or os.seteuid(65534)\n"
    code += "writer_lock(pathlib.Path(folder) / 'b.logbook').__enter__()"
    died = subprocess.run(
        [sys.executable, "-B", "-c", code], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert "choose a folder you may write in" in died.stderr


def test_output_that_nobody_reads_is_neither_done_nor_a_finding(book: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-c", "from rig.cli import main; main()", "audit", str(book)],
        stdout=writing, stderr=subprocess.PIPE, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    os.close(writing)
    assert (done.returncode, done.stderr) == (141, "")


def test_ctrl_c_where_nothing_was_armed_says_only_that_it_stopped(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def stop(**_: object) -> None:
        raise click.Abort

    assert ended(stop) == 130
    assert capsys.readouterr().err == "\nStopped.\n"
