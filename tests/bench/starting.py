"""How soon the command line answers, in processor time: whole processes, alone or against another.

Processor time and ratios within one run, so that a busy machine changes little.
"""

import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from typing import Any

from tests.bench.figure import at_most, figure

RUNS = 15
DEMO = "from rig.cli import main; main()"
A_DROP = re.compile(rb"impact energy: [0-9.]+ . [0-9.]+ J")
TRULY = (
    rb"Pry torque to failure: difference shown\. Two tempers against one temper",
    rb"cool temper against one temper: cannot tell",
    rb"Edge life: (?!difference shown)",
)
"""What the demonstration's study must and must not say, by its truth."""


def _once(*args: str) -> float:
    """Wall seconds of a process: only ever against another's."""
    began = time.perf_counter()
    subprocess.run([sys.executable, *args], check=True, capture_output=True)
    return time.perf_counter() - began


def _ticked_s(pid: int) -> float:
    """Processor time of a process that still runs, s."""
    with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
        user, system = stat.read().rsplit(")", 1)[1].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def _demo(*args: str) -> tuple[float, float, bytes]:
    """Processor time until the first drop is on the screen and of all of it, s; what it printed."""
    child = subprocess.Popen(
        [sys.executable, "-u", "-c", DEMO, "demo", *args], stdout=subprocess.PIPE
    )
    assert child.stdout is not None
    told, first_s = b"", float("nan")
    for line in child.stdout:
        told += line
        if A_DROP.search(line) and first_s != first_s:
            first_s = _ticked_s(child.pid)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0, f"the demo failed: {told[-300:]!r}"
    return first_s, used.ru_utime + used.ru_stime, told


def figures() -> list[dict[str, Any]]:
    """`--help` against importing click alone, in turn; and the demo."""
    help_, click = [], []
    for _ in range(RUNS + 1):
        help_.append(_once("-c", DEMO, "--help"))
        click.append(_once("-c", "import click"))
    ratio = statistics.median(a / b for a, b in zip(help_[1:], click[1:], strict=True))
    with tempfile.TemporaryDirectory() as folder:
        first_s, whole_s, told = _demo("--out", folder)
    wrong = sum(re.search(line, told) is None for line in TRULY)
    return [
        at_most("bladerig --help against import click", ratio, "ratio", 2.5),
        at_most("demo to the first measured drop, processor time", first_s, "s", 10),
        at_most("demo with a blind study of 90 trials, processor time", whole_s, "s", 60),
        figure("answers of the demo's study that its truth contradicts", wrong, "answers", "== 0",
               wrong == 0),
    ]  # fmt: skip
