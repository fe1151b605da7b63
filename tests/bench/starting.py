"""How soon the command line answers: whole processes, medians, ratios within one run."""

import statistics
import subprocess
import sys
import tempfile
import time
from typing import Any

from tests.bench.figure import at_most

RUNS = 15


def _once(*args: str) -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, *args], check=True, capture_output=True)
    return time.perf_counter() - began


def figures() -> list[dict[str, Any]]:
    """`--help` against importing click alone, in turn; and the demo."""
    help_, click = [], []
    for _ in range(RUNS + 1):
        help_.append(_once("-c", "from rig.cli import main; main()", "--help"))
        click.append(_once("-c", "import click"))
    ratio = statistics.median(a / b for a, b in zip(help_[1:], click[1:], strict=True))
    with tempfile.TemporaryDirectory() as folder:
        run = ("-c", "from rig.cli import main; main()", "demo", "--out", folder)
        quick, whole = _once(*run, "--quick"), _once(*run)
    return [
        at_most("bladerig --help against import click", ratio, "ratio", 2.5),
        at_most("demo without its study, whole process", quick, "s", 60),
        at_most("demo with a blind study of 90 trials, whole process", whole, "s", 240),
    ]
