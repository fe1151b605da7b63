"""One guided run from the command line: logbook, bench, device and operator brought together."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rig.bench import Bench
    from rig.guide.script import Script
    from rig.logbook.store import Logbook

BENCH_FILE = Path("bench.toml")


@dataclass(frozen=True)
class Wish:
    """What the command line asked for; `device` options as `open_device` takes them."""

    logbook: Path
    settings: dict[str, str]
    port: str | None = None
    virtual: bool = False
    bench_path: Path | None = None
    resume: bool = False
    abandon: str | None = None
    accept_clock: str | None = None
    as_json: bool = False


def guided(procedure: str, wish: Wish) -> dict[str, Any]:
    """Run a procedure into a logbook; its conclusion with the run's number and the page's path.

    Raises:
        RigError: anything the person can put right.
    """
    from rig.guide import script as scripts
    from rig.guide.parameters import read_all

    script = scripts.load(procedure)
    params = {} if wish.resume else read_all(script.parameters, wish.settings)
    bench = _bench(wish)  # a resumed run goes on with its own
    with _opened(wish) as book:
        if wish.accept_clock:
            book.accept_clock(wish.accept_clock)
        run_id = _unfinished(book, script, wish)
        conclusion = _run(book, script, params, bench, run_id, wish)
    from rig.report import page

    told = page.write(wish.logbook, conclusion["run_id"], None)
    return {**conclusion, "report": str(told)}


def bench_file(given: Path | None) -> Path | None:
    """The bench file to use: the one given, else bench.toml here, else none (design values)."""
    return given or (BENCH_FILE if BENCH_FILE.is_file() else None)


def _bench(wish: Wish) -> "Bench":
    """The bench with the certificates of its calibration logbook and of this one."""
    from datetime import UTC, datetime

    from rig import bench as benches
    from rig.calibration.inforce import certified
    from rig.logbook.certificates import beside, find

    path = bench_file(wish.bench_path)
    bench = benches.load(path)
    found = find([beside(path), wish.logbook], bench, virtual=wish.virtual)
    return certified(bench, found, datetime.now(UTC))


def _opened(wish: Wish) -> "Logbook":
    from rig.logbook.store import Logbook

    if wish.logbook.exists() or wish.resume:
        return Logbook.open(wish.logbook, writable=True)
    return Logbook.create(wish.logbook, title=wish.logbook.stem)


def _unfinished(book: "Logbook", script: "Script", wish: Wish) -> int | None:
    """The number of the run to resume; None to start a new one."""
    from rig.errors import RigError

    open_runs = book.unfinished_runs()
    if not open_runs:
        if wish.resume:
            raise RigError(
                "no unfinished run", where=str(book.path), remedy="start one without --resume"
            )
        return None
    last = open_runs[-1]
    name = f"run {last.run_id} ({last.procedure})"
    resume, abandon = wish.resume, wish.abandon
    if abandon is None and not resume:
        if not sys.stdin.isatty():
            raise RigError(
                f"{name} is unfinished",
                where=str(book.path),
                remedy="add --resume to go on with it, or --abandon 'reason' to give it up",
            )
        word = click.prompt(
            f"{name} is unfinished. Go on with it, or give it up?",
            type=click.Choice(["resume", "abandon"]), default="resume", err=True,
        )  # fmt: skip
        resume = word == "resume"
        abandon = None if resume else click.prompt("Why?", err=True)
    if resume:
        if last.procedure != script.name:
            raise RigError(
                f"the unfinished run is {name}, not {script.name}",
                where=str(book.path), remedy=f"use: bladerig run {last.procedure} ... --resume",
            )  # fmt: skip
        return last.run_id
    book.end_run(last.run_id, "abandoned", str(abandon))
    return None


def _run(
    book: "Logbook", script: "Script", params: dict[str, Any], bench: "Bench",
    run_id: int | None, wish: Wish,
) -> dict[str, Any]:  # fmt: skip
    from rich.console import Console

    from rig.cli.devices import open_device
    from rig.guide.runner import Runner
    from rig.guide.terminal import TerminalOperator

    person = sys.stdin.isatty()
    device = open_device(
        wish.port, virtual=wish.virtual, bench=bench, paced=wish.virtual and person
    )
    operator = TerminalOperator(console=Console(highlight=False, stderr=wish.as_json))
    try:
        runner = Runner(book, bench, device, operator)
        if run_id is None:
            run_id, outcome = runner.start(script, params)
        else:
            outcome = runner.resume(run_id, script)
    finally:
        device.link.exit()
    return {"run_id": run_id, "logbook": str(book.path), **outcome}
