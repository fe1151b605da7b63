"""A run that is killed in the midst of its work, and what it leaves behind.

Each life is a process of its own, forked, that starts the run or resumes it. It tells on a pipe
`seen N` once the procedure has been handed the outcome of step N: by then that outcome must be on
the disk, whatever happens next. The kill is a signal that no code sees coming, sent by the kernel
after so much processor time of the run itself: between two instructions of whatever it is at,
and never before it has begun, however busy the machine.
"""

import os
import random
import signal
import time
import traceback
from collections.abc import Callable, Mapping
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

SHARES = (0.02, 0.7)  # of a whole run's processor time, until the kill
LIVES = 60
Tell = Callable[[str], object]


def telling(script: Script, tell: Tell) -> Script:
    """The script, telling which outcomes it has seen."""

    def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
        inner = script.begin(params, bench)
        step, index = next(inner), 0
        while True:
            outcome = yield step
            tell(f"seen {index}")
            index += 1
            try:
                step = inner.send(outcome)
            except StopIteration as end:
                return dict(end.value)

    return replace(script, _procedure=procedure)


def begin_or_resume(path: Path, boot: int, tell: Tell) -> None:
    """Start the run, or resume it."""
    script, params = impact()
    rig = VirtualRig(boot=boot)
    opened = Logbook.open(path, writable=True) if path.exists() else Logbook.create(path, title="k")
    with opened as book:
        runner = Runner(book, benches.load(None), rig.device, rig.operator())
        unfinished = book.unfinished_runs()
        if unfinished:
            runner.resume(unfinished[-1].run_id, telling(script, tell))
        else:
            runner.start(telling(script, tell), params)
    tell("finished")


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
    whole_s = _whole_run_s(folder / "whole.logbook")
    while tally.kills < kills:
        path = folder / f"run-{tally.runs}.logbook"
        _one_run(path, lambda: whole_s * chance.uniform(*SHARES), tally, kills)
        tally.runs += 1
    return tally


def _whole_run_s(path: Path) -> float:
    """Processor time of a run that nobody kills."""
    told, _ = _life(path, 0, None)
    return float(told[-1].split()[1])


def _one_run(path: Path, until_s: Callable[[], float], tally: Tally, kills: int) -> None:
    seen: set[int] = set()
    for boot in range(1, LIVES):
        told, killed = _life(path, boot, until_s() if tally.kills < kills else None)
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


def _life(path: Path, boot: int, until_s: float | None) -> tuple[list[str], bool]:
    """One process, killed after `until_s` of work (None: left alone); its lines, and if it was."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _live(path, boot, until_s, writing)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as pipe:
        told = pipe.read()
    _, status = os.waitpid(child, 0)
    killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGPROF
    if status and not killed:
        raise AssertionError(f"the run failed: {told}")
    return told.splitlines(), killed


def _live(path: Path, boot: int, until_s: float | None, pipe: int) -> None:
    """In the child; never comes back. A line is written in one piece or not at all."""

    def tell(line: str) -> None:
        os.write(pipe, f"{line}\n".encode())

    code = 1
    try:
        signal.signal(signal.SIGPROF, signal.SIG_DFL)  # which ends a process at once
        began_s = time.process_time()
        if until_s is not None:
            signal.setitimer(signal.ITIMER_PROF, until_s)
        begin_or_resume(path, boot, tell)
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        tell(f"took {time.process_time() - began_s}")
        code = 0
    except BaseException:
        tell(traceback.format_exc())
    finally:
        os._exit(code)
