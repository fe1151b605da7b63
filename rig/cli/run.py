"""`bladerig run`: a procedure at the bench, or on the virtual rig."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rig.guide.script import Script
    from rig.logbook.store import Logbook


@click.command()
@click.argument("procedure")
@click.argument("logbook", type=click.Path(path_type=Path))
@click.argument("settings", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--port", help="Port of the board; left out, the one that answers.")
@click.option("--virtual", is_flag=True, help="Practise on the virtual rig, no hardware needed.")
@click.option(
    "--bench", "bench_path", type=click.Path(path_type=Path),
    help="Bench file; left out, bench.toml here if there is one, else the design values.",
)  # fmt: skip
@click.option(
    "--resume", is_flag=True, help="Go on with the unfinished run, exactly where it stopped."
)
@click.option("--abandon", metavar="REASON", help="Give the unfinished run up, and start anew.")
@click.option("--accept-clock", metavar="REASON", help="Why the computer's clock was set back.")
@click.option("--json", "as_json", is_flag=True, help="Print the conclusion for programs.")
def run(
    procedure: str, logbook: Path, settings: tuple[str, ...], port: str | None, virtual: bool,
    bench_path: Path | None, resume: bool, abandon: str | None, accept_clock: str | None,
    as_json: bool,
) -> None:  # fmt: skip
    """Run PROCEDURE guided, into LOGBOOK (made if it is not there).

    PROCEDURE is one of ours or your own script file. Killed or cut off at any moment, the same
    command with --resume goes on where it stopped. Ctrl-C disarms the rig and stops.

    \b
    Examples:
      bladerig run drop_impact blades.logbook energy=5J specimen=K3 drops=2
      bladerig run drop_impact practice.logbook energy="3.7 ft*lbf" --virtual
      bladerig run ./mine.py blades.logbook --port /dev/ttyUSB0
      bladerig run drop_impact blades.logbook --resume
    """
    from rig import bench as benches
    from rig.guide import script as scripts
    from rig.guide.parameters import read_all

    script = scripts.load(procedure)
    params = {} if resume else read_all(script.parameters, _pairs(settings))
    path = bench_path or (Path("bench.toml") if Path("bench.toml").is_file() else None)
    bench = benches.load(path)
    with _opened(logbook, resume) as book:
        if accept_clock:
            book.accept_clock(accept_clock)
        run_id = _unfinished(book, script, resume, abandon)
        conclusion = _guided(book, script, params, bench, run_id, port, virtual, as_json)
    from rig.report import page

    told = page.write(logbook, conclusion["run_id"], None)
    if as_json:
        click.echo(json.dumps({**conclusion, "report": str(told)}))
    else:
        click.echo(f"\nRecorded in {logbook} as run {conclusion['run_id']}.\nReport: {told}")


def _pairs(settings: tuple[str, ...]) -> dict[str, str]:
    from rig.errors import RigError

    pairs = {}
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals:
            raise RigError(
                f"'{text}' is not NAME=VALUE", remedy="write it like energy=5J", value=text
            )
        pairs[name.strip()] = value
    return pairs


def _opened(path: Path, resume: bool) -> "Logbook":
    from rig.logbook.store import Logbook

    if path.exists() or resume:
        return Logbook.open(path, writable=True)
    return Logbook.create(path, title=path.stem)


def _unfinished(book: "Logbook", script: "Script", resume: bool, abandon: str | None) -> int | None:
    """The number of the run to resume; None to start a new one."""
    from rig.errors import RigError

    open_runs = book.unfinished_runs()
    if not open_runs:
        if resume:
            raise RigError(
                "no unfinished run", where=str(book.path), remedy="start one without --resume"
            )
        return None
    last = open_runs[-1]
    name = f"run {last.run_id} ({last.procedure})"
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


def _guided(
    book: "Logbook", script: "Script", params: dict[str, Any], bench: Any, run_id: int | None,
    port: str | None, virtual: bool, as_json: bool,
) -> dict[str, Any]:  # fmt: skip
    from rich.console import Console

    from rig.cli.devices import open_device
    from rig.guide.runner import Runner
    from rig.guide.terminal import TerminalOperator

    person = sys.stdin.isatty()
    device = open_device(port, virtual=virtual, bench=bench, paced=virtual and person)
    operator = TerminalOperator(console=Console(highlight=False, stderr=as_json))
    try:
        runner = Runner(book, bench, device, operator)
        if run_id is None:
            run_id, outcome = runner.start(script, params)
        else:
            outcome = runner.resume(run_id, script)
    finally:
        device.link.exit()
    return {"run_id": run_id, "logbook": str(book.path), **outcome}
