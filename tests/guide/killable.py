"""A run that can be killed: `python -m tests.guide.killable LOGBOOK BOOT` starts or resumes it.

It prints `seen N` once the procedure has been handed the outcome of step N: by then that outcome
must be on the disk, whatever happens next.
"""

import random
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rig import bench as benches
from rig.bench import Bench
from rig.guide.runner import Runner
from rig.guide.script import Script
from rig.guide.steps import Procedure
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.logbook.journal import STEP
from tests.guide.rigs import VirtualRig, impact


def telling(script: Script) -> Script:
    """The script, telling on stdout which outcomes it has seen."""

    def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
        inner = script.begin(params, bench)
        step, index = next(inner), 0
        while True:
            outcome = yield step
            print(f"seen {index}", flush=True)
            index += 1
            try:
                step = inner.send(outcome)
            except StopIteration as end:
                return dict(end.value)

    return replace(script, _procedure=procedure)


def main(path: Path, boot: int) -> None:
    """Start the run, or resume it."""
    script, params = impact()
    rig = VirtualRig(boot=boot)
    opened = Logbook.open(path, writable=True) if path.exists() else Logbook.create(path, title="k")
    with opened as book:
        runner = Runner(book, benches.load(None), rig.device, rig.operator())
        unfinished = book.unfinished_runs()
        if unfinished:
            runner.resume(unfinished[-1].run_id, telling(script))
        else:
            runner.start(telling(script), params)
    print("finished", flush=True)


@dataclass
class Tally:
    """What came of many kills."""

    kills: int = 0
    runs: int = 0
    seen: int = 0
    lost: int = 0
    unfinished: int = 0
    unsound: int = 0


def killed_runs(kills: int, folder: Path, seed: int = 1) -> Tally:
    """Kill runs at random instants, resume each until it is finished, and look for losses."""
    chance, tally = random.Random(seed), Tally()
    while tally.kills < kills:
        path = folder / f"run-{tally.runs}.logbook"
        _one_run(path, chance, tally, kills)
        tally.runs += 1
    return tally


def _one_run(path: Path, chance: random.Random, tally: Tally, kills: int) -> None:
    seen: set[int] = set()
    for boot in range(1, 60):
        wait_s = chance.uniform(0.2, 3.0) if tally.kills < kills else None
        told, killed = _life(path, boot, wait_s)
        tally.kills += killed
        seen |= {int(line.split()[1]) for line in told if line.startswith("seen ")}
        if "finished" in told:
            break
    else:
        tally.unfinished += 1
    with Logbook.open(path, writable=False) as book:
        kept = {row.body["index"] for row in book.journal(kind=STEP)}
        tally.unfinished += any(run.outcome != "finished" for run in book.runs())
    tally.seen += len(seen)
    tally.lost += len(seen - kept)
    tally.unsound += bool(audit(path))


def _life(path: Path, boot: int, wait_s: float | None) -> tuple[list[str], bool]:
    """One process, killed after `wait_s` (None: left alone); its lines, and whether it was."""
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.guide.killable", str(path), str(boot)],
        stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    if wait_s is not None:
        end = time.monotonic() + wait_s
        while time.monotonic() < end and child.poll() is None:
            time.sleep(0.005)
    killed = wait_s is not None and child.poll() is None
    if killed:
        child.kill()
    told, _ = child.communicate()
    if not killed and child.returncode:
        raise AssertionError(f"the run failed: exit code {child.returncode}")
    # A line cut by the kill was never whole on the pipe: count whole lines only.
    whole = told if told.endswith("\n") else told[: told.rfind("\n") + 1]
    return whole.splitlines(), killed


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
