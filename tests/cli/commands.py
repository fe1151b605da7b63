"""The real command line, as a process of its own."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def bladerig(
    *args: object, typed: str = "", cwd: Path | None = None, path: str | None = None
) -> subprocess.CompletedProcess[str]:
    """Run `bladerig ARGS`; `typed` is its standard input."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    if path is not None:
        environment["PATH"] = path
    return subprocess.run(
        [sys.executable, "-c", "from rig.cli import main; main()", *map(str, args)],
        input=typed, capture_output=True, text=True, cwd=cwd or ROOT, env=environment, check=False,
        timeout=300,
    )  # fmt: skip


def told_in_one_line(done: subprocess.CompletedProcess[str]) -> str:
    """The one line on stderr of a command that refused; asserts that it was one, and code 2."""
    assert "Traceback" not in done.stderr, done.stderr
    assert done.returncode == 2, (done.returncode, done.stdout, done.stderr)
    lines = [line for line in done.stderr.splitlines() if line.startswith("bladerig: ")]
    assert len(lines) == 1, done.stderr
    return lines[0]
