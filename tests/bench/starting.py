"""How soon the command line answers: whole processes, against another in the same run.

A busy machine takes more processor time for the same work, so the demo's is told in counts: what
Python takes to count to ten million, just before and after it.
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

RUNS, COUNTS = 15, 5
FIRST_COUNTS, WHOLE_COUNTS = 90, 545  # 10 s and 60 s at 0.11 s a count, as measured
DEMO = "from rig.cli import main; main()"
A_DROP = re.compile(r"impact energy: [0-9.]+ . [0-9.]+ J")
TRULY = (
    r"Pry torque to failure: difference shown, two tempers better than one temper\. ",
    r"Pry torque to failure: .*cool temper against one temper: cannot tell",
    r"Edge life: (?!difference shown)",
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


def _demo(*args: str) -> tuple[float, float, str]:
    """Processor time until the first drop is on the screen and of all of it, s; what it printed."""
    child = subprocess.Popen(
        [sys.executable, "-u", "-c", DEMO, "demo", *args], stdout=subprocess.PIPE, encoding="utf-8"
    )
    assert child.stdout is not None
    told, first_s = "", float("nan")
    for line in child.stdout:
        told += line
        if A_DROP.search(line) and first_s != first_s:
            first_s = _ticked_s(child.pid)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0, f"the demo failed: {told[-300:]}"
    return first_s, used.ru_utime + used.ru_stime, told


def _count_s() -> float:
    """Processor time of one count, s."""
    began = time.process_time()
    for _ in range(10_000_000):
        pass
    return time.process_time() - began


def figures() -> list[dict[str, Any]]:
    """`--help` against importing click alone, in turn; and the demo."""
    help_, click = [], []
    for _ in range(RUNS + 1):
        help_.append(_once("-c", DEMO, "--help"))
        click.append(_once("-c", "import click"))
    ratio = statistics.median(a / b for a, b in zip(help_[1:], click[1:], strict=True))
    count_s = [_count_s() for _ in range(COUNTS)]
    with tempfile.TemporaryDirectory() as folder:
        first_s, whole_s, told = _demo("--out", folder)
    count_s += [_count_s() for _ in range(COUNTS)]
    one_s = statistics.median(count_s)
    wrong = sum(re.search(line, told) is None for line in TRULY)
    return [
        at_most("bladerig --help against import click", ratio, "ratio", 2.5),
        at_most("demo to the first measured drop, against counting to ten million",
                first_s / one_s, "counts", FIRST_COUNTS),
        at_most("demo with a blind study of 90 trials, against counting to ten million",
                whole_s / one_s, "counts", WHOLE_COUNTS),
        figure("answers of the demo's study that its truth contradicts", wrong, "answers", "== 0",
               wrong == 0),
    ]  # fmt: skip
