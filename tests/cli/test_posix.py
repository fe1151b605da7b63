"""The command line against what only POSIX systems have: rights, signals, devices."""

import shutil
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rig.logbook import Logbook
from tests.cli.commands import ROOT, bladerig, told_in_one_line

RUN = ("run", "drop_impact")
IMPACT = ("energy=5J", "specimen=K3", "--virtual")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "b.logbook"
    Logbook.create(path, title="b").close()
    return path


def test_a_device_that_is_no_serial_port_is_refused(book: Path) -> None:
    line = told_in_one_line(bladerig(*RUN, book, "energy=5J", "specimen=K3", "--port", "/dev/null"))
    assert "not a serial port" in line


def test_a_full_disk_is_told_in_one_line(tmp_path: Path) -> None:
    demo = bladerig("demo", "--out", tmp_path)
    assert demo.returncode == 0
    line = told_in_one_line(
        bladerig("report", tmp_path / "impact-demo.logbook", "--out", "/dev/full")
    )
    assert "No space left" in line


def test_a_read_only_logbook_can_be_read_but_not_run_into(tmp_path: Path) -> None:
    shared = Path("/tmp/bladerig-read-only-test")
    shutil.rmtree(shared, ignore_errors=True)
    shared.mkdir(mode=0o755)
    path = shared / "b.logbook"
    Logbook.create(path, title="b").close()
    path.chmod(stat.S_IRUSR | stat.S_IRGRP | stat.S_IROTH)
    shared.chmod(0o555)
    # Root may write anything: step down once everything this command needs is imported.
    code = "import os, rig.cli.guided, rig.bench, rig.logbook, rig.guide.script, pydantic, numpy\n"
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
    assert "disarmed" in errors and "Traceback" not in errors
    assert "resume" in bladerig("runs", book).stdout
