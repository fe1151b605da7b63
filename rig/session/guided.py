"""One guided run from the command line: logbook, bench, device and operator brought together."""

import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from rig.session import in_turn, resuming
from rig.session.wish import Stopped, Wish

if TYPE_CHECKING:
    from rig.bench import Bench
    from rig.guide.runner import Runner
    from rig.guide.script import Script
    from rig.logbook.records import Run
    from rig.logbook.store import Logbook
    from rig.virtual.person import Person

BENCH_FILE = Path("bench.toml")


def guided(procedure: str, wish: Wish) -> dict[str, Any]:
    """Run a procedure into a logbook; its conclusion with the run's number and the page's path.

    What can be refused is refused before anything is connected, and no logbook is made before a
    board has answered.

    Raises:
        RigError: anything the person can put right.
        Stopped: Ctrl-C; the rig is disarmed.
    """
    from rig.guide import script as scripts
    from rig.study.register.turn import other_bench

    _require_sense(wish)
    script = scripts.load(procedure)
    bench = _bench(wish)
    with ExitStack() as stack:
        book = _opened(wish)
        if book is not None:
            stack.enter_context(book)
        last = _unfinished(book, wish)
        given_up = None if last is None else _given_up(last, script, bench, wish)
        begins = last is None or given_up is not None
        params, apart = in_turn.settings(book, script, bench, wish) if begins else ({}, [])
        taken = in_turn.take(book, script, params, wish)
        if taken is not None and book is not None:
            apart += other_bench(book, script.name, bench.model_dump(mode="json"), wish.kind)
        in_turn.require_alike(apart, script, wish)
        runner = _runner(book, bench, script.name, wish, stack)
        _enter(runner.book, wish, last, given_up)
        runner.reads_code = in_turn.blind(runner.book, script)
        if taken is not None:
            params = {**params, **taken.settings(params, script)}
            in_turn.tell(runner, script, taken, apart, wish)
        conclusion = _run(runner, script, params, wish, None if given_up is not None else last)
    from rig.report import page

    told = page.write(wish.logbook, conclusion["run_id"], None)
    return {**conclusion, "report": str(told)}


def bench_file(given: Path | None) -> Path | None:
    """The bench file to use: the one given, else bench.toml here, else none (design values)."""
    # A link that leads nowhere is a fault to be told, not a bench of design values.
    return given or (BENCH_FILE if BENCH_FILE.is_file() or BENCH_FILE.is_symlink() else None)


def _require_sense(wish: Wish) -> None:
    from rig.errors import RigError

    if wish.resume and wish.abandon is not None:
        raise RigError("--resume and --abandon exclude each other", remedy="give one of them")
    if wish.virtual and wish.port:
        raise RigError("--virtual and --port exclude each other", remedy="give one of them")
    for name, reason in (
        ("--abandon", wish.abandon),
        ("--accept-clock", wish.accept_clock),
        ("--out-of-turn", wish.out_of_turn),
    ):
        if reason is not None and not reason.strip():
            raise RigError(f"{name} needs a reason", remedy=f"write it like {name} 'wrong blade'")


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


def _opened(wish: Wish) -> "Logbook | None":
    """The logbook for writing; None when it is still to be made."""
    from rig.logbook.store import Logbook

    if wish.logbook.exists() or wish.resume:
        return Logbook.open(wish.logbook, writable=True)
    return None


def _unfinished(book: "Logbook | None", wish: Wish) -> "Run | None":
    """The unfinished run, if there is one."""
    from rig.errors import RigError

    open_runs = [] if book is None else book.unfinished_runs()
    if not open_runs and wish.resume:
        raise RigError(
            "no unfinished run", where=str(wish.logbook), remedy="start one without --resume"
        )
    return open_runs[-1] if open_runs else None


def _given_up(last: "Run", script: "Script", bench: "Bench", wish: Wish) -> str | None:
    """Why the unfinished run is given up; None to go on with it."""
    from rig.errors import RigError

    if wish.abandon is not None:
        return wish.abandon
    resuming.require_same(last, script, wish.settings, wish.logbook)
    _require_same_bench(last, bench, wish)
    if wish.resume:
        return None
    if not sys.stdin.isatty():
        raise RigError(
            f"{resuming.told(last)} is unfinished",
            where=str(wish.logbook),
            remedy="add --resume to go on with it, or --abandon 'reason' to give it up",
        )
    word = click.prompt(
        f"{resuming.told(last)} is unfinished. Go on with it, or give it up?",
        type=click.Choice(["resume", "abandon"]), default="resume", err=True,
    )  # fmt: skip
    return None if word == "resume" else str(click.prompt("Why?", err=True))


def _require_same_bench(last: "Run", bench: "Bench", wish: Wish) -> None:
    """A bench file named on the command line must be the one the run was begun with."""
    from rig.bench.unlike import changed
    from rig.errors import RigError
    from rig.guide.runner import require_same_rig

    if wish.virtual or last.versions.get("device") == "virtual":
        require_same_rig(last, wish.kind)  # what is on a port only its greeting tells
    other = changed(last.versions["bench"], bench.model_dump(mode="json"))
    if not other:
        return
    told = f"run {last.run_id} was begun with another bench: {', '.join(other)} differ"
    if wish.bench_path is not None:
        raise RigError(
            told,
            where=str(wish.bench_path),
            remedy="leave --bench out to go on with the old one, or --abandon 'reason'",
        )
    click.echo(f"mind: {told}; it goes on with the old one", err=True)


def _runner(
    book: "Logbook | None", bench: "Bench", procedure: str, wish: Wish, stack: ExitStack
) -> "Runner":
    from rich.console import Console

    from rig.guide.runner import Runner
    from rig.logbook.store import Logbook
    from rig.session.devices import open_device
    from rig.session.virtual_eye import Practising, looks

    paced = wish.virtual and sys.stdin.isatty()
    device = open_device(wish.port, virtual=wish.virtual, bench=bench, paced=paced)

    def hang_up() -> None:
        device.link.exit()  # whichever line there is by then

    stack.callback(hang_up)
    if book is None:
        book = stack.enter_context(Logbook.create(wish.logbook, title=wish.logbook.stem))
    operator = Practising(console=Console(highlight=False, stderr=wish.as_json))
    if wish.virtual:
        operator.look = looks(cast("Person", device.hands), procedure)
    return Runner(book, bench, device, operator)


def _enter(book: "Logbook", wish: Wish, last: "Run | None", given_up: str | None) -> None:
    """What has to be on record before the run."""
    if wish.accept_clock:
        book.accept_clock(wish.accept_clock)
    if last is not None and given_up is not None:
        book.end_run(last.run_id, "abandoned", given_up)


def _run(
    runner: "Runner", script: "Script", params: dict[str, Any], wish: Wish, last: "Run | None"
) -> dict[str, Any]:
    from rig.guide.resume_command import command

    tell, book = runner.operator.tell, runner.book
    if wish.virtual:
        tell("VIRTUAL RIG: practice, not a measurement of any real blade.")
    elif runner.device.kind == "emulated":
        tell("EMULATED BOARD: practice, not a measurement of any real blade.")
    try:
        if last is None:
            run_id, outcome = runner.start(script, params)
        else:
            tell(f"Going on with {resuming.told(last)}.")
            run_id, outcome = last.run_id, runner.resume(last.run_id, script)
    except KeyboardInterrupt as stop:
        again = [command(run, wish.logbook) for run in book.unfinished_runs()]
        go_on = f" Go on with: {again[-1]}" if again else ""
        raise Stopped(f"Stopped; the rig was disarmed.{go_on}") from stop
    return {"run_id": run_id, "logbook": str(book.path), **outcome}
