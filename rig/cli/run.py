"""`bladerig run`: a procedure at the bench, or on the virtual rig."""

import json
from pathlib import Path

import click

from rig.cli.helping import ProcedureHelp


@click.command(cls=ProcedureHelp)
@click.argument("procedure")
@click.argument("logbook", type=click.Path(path_type=Path))
@click.argument("settings", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--port", help="Port of the board; left out, the one remembered, or asked for.")
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
@click.option(
    "--out-of-turn", metavar="REASON", help="Why another blade of the study than the plan's next."
)
@click.option("--json", "as_json", is_flag=True, help="Print the conclusion for programs.")
def run(
    procedure: str, logbook: Path, settings: tuple[str, ...], port: str | None, virtual: bool,
    bench_path: Path | None, resume: bool, abandon: str | None, accept_clock: str | None,
    out_of_turn: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Run PROCEDURE guided, into LOGBOOK (made if it is not there).

    PROCEDURE is one of ours or your own script file; with its name before --help, what it takes is
    listed. Killed or cut off at any moment, the same
    command with --resume goes on where it stopped, with the settings, the bench and the kind of
    rig it was begun with. Ctrl-C disarms the rig and stops.

    In a study whose codes are dealt, leave specimen out to take the procedure's next blade of the
    plan, or name the code that you took: one that the study does not know is refused, and another
    trial than the plan's next asks for --out-of-turn. Settings that change what is measured are
    the study's; others are refused, or with --out-of-turn the trial is listed and not compared.

    \b
    Examples:
      bladerig run drop_impact blades.logbook energy=5J specimen=K3 drops=2
      bladerig run drop_impact practice.logbook energy="3.7 ft*lbf" --virtual
      bladerig run ./mine.py blades.logbook --port /dev/ttyUSB0
      bladerig run drop_impact blades.logbook --resume
    """
    from rig.session.guided import guided
    from rig.session.wish import Wish

    wish = Wish(
        logbook, pairs(settings), port, virtual, bench_path, resume, abandon, accept_clock,
        out_of_turn, as_json,
    )  # fmt: skip
    conclusion = guided(procedure, wish)
    if as_json:
        click.echo(json.dumps(conclusion))
    else:
        click.echo(
            f"\nRecorded in {logbook} as run {conclusion['run_id']}"
            f"{' on the VIRTUAL RIG: practice' * virtual}.\nReport: {conclusion['report']}"
        )


def pairs(settings: tuple[str, ...]) -> dict[str, str]:
    """Settings typed as NAME=VALUE, by name.

    Raises:
        RigError: one is not of that form, or is given twice.
    """
    from rig.errors import RigError

    told = {}
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals:
            raise RigError(
                f"'{text}' is not NAME=VALUE", remedy="write it like energy=5J", value=text
            )
        if name.strip() in told:
            raise RigError(f"{name.strip()} is given twice", remedy="give it once", value=text)
        told[name.strip()] = value
    return told
