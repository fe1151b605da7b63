"""`bladerig calibrate` and `bladerig certificates`: the instrument itself."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rig.calibration.certificate import Certificate
    from rig.measure.budget import Reason

PATH = click.Path(path_type=Path)
BENCH = click.option(
    "--bench", "bench_path", type=PATH,
    help="Bench file; left out, bench.toml here if there is one, else the design values.",
)  # fmt: skip
LOGBOOK = click.option(
    "--logbook",
    type=PATH,
    help="Where calibrations are kept; left out, calibration.logbook beside the bench file.",
)


@click.command()
@click.argument("channel", type=click.Choice(["load", "angle", "height"]))
@click.argument("settings", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--port", help="Port of the board; left out, the one remembered, or asked for.")
@click.option("--virtual", is_flag=True, help="Practise on the virtual rig, no hardware needed.")
@BENCH
@LOGBOOK
@click.option("--resume", is_flag=True, help="Go on with the unfinished calibration.")
@click.option("--abandon", metavar="REASON", help="Give the unfinished one up, and start anew.")
@click.option("--accept-clock", metavar="REASON", help="Why the computer's clock was set back.")
@click.option("--json", "as_json", is_flag=True, help="Print the conclusion for programs.")
def calibrate(
    channel: str, settings: tuple[str, ...], port: str | None, virtual: bool,
    bench_path: Path | None, logbook: Path | None, resume: bool, abandon: str | None,
    accept_clock: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Calibrate a CHANNEL of the bench, guided: load, angle or height.

    Load takes dead weights and about 40 minutes, angle the angle plate and 5, height a steel rule
    and 5. It ends with a certificate to print; trials find it by themselves.

    \b
    Examples:
      bladerig calibrate load operator=AB
      bladerig calibrate load weights="0.5 lb, 2 lb, 5 lb, 20 lb" --virtual
      bladerig calibrate height marks="100 mm, 300 mm, 500 mm, 700 mm"
      bladerig calibrate load --resume
    """
    from rig.cli.run import pairs
    from rig.logbook.certificates import beside
    from rig.session.guided import bench_file, guided
    from rig.session.wish import Wish

    book = logbook or beside(bench_file(bench_path))
    wish = Wish(
        book, pairs(settings), port, virtual, bench_path, resume, abandon, accept_clock,
        as_json=as_json,
    )  # fmt: skip
    told = guided(f"calibrate_{channel}", wish)
    if told["certificate"] is None:
        _refuse(told)
    if as_json:
        click.echo(json.dumps(told))
        return
    click.echo(
        f"\nRecorded in {book} as run {told['run_id']}.\n"
        f"Certificate: {told['report']}; open it in a browser, or print it"
    )


def _refuse(told: dict[str, Any]) -> None:
    from rig.errors import RigError

    first, more = told["reasons"][0], len(told["reasons"]) - 1
    raise RigError(
        f"no certificate: {first}" + (f" (and {more} more)" if more else ""),
        remedy=f"the readings are kept in {told['logbook']}, the page is {told['report']}; mend "
        "it and calibrate again",
    )


@click.command()
@click.argument("logbooks", nargs=-1, type=PATH)
@BENCH
@click.option("--virtual", is_flag=True, help="Those made in practice on the virtual rig.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def certificates(
    logbooks: tuple[Path, ...], bench_path: Path | None, virtual: bool, as_json: bool
) -> int:
    """Which certificates hold for this bench, and until when.

    Looks in LOGBOOKS and in calibration.logbook beside the bench file. Code 1 when one is missing
    or does not hold.

    \b
    Example:  bladerig certificates
    """
    from datetime import UTC, datetime

    from rig import bench as benches
    from rig.calibration.certificate import CHANNELS, standing
    from rig.logbook.certificates import beside, find
    from rig.session.guided import bench_file

    file = bench_file(bench_path)
    bench, now = benches.load(file), datetime.now(UTC)
    books = [*map(_there, logbooks), beside(file)]
    found = find(books, bench, virtual=virtual)
    practice = {} if virtual else find(books, bench, virtual=True)
    told = {
        channel: _line(found.get(channel), standing(found.get(channel), channel, bench, now),
                       _command(channel, bench_path, virtual))
        for channel in CHANNELS
    }  # fmt: skip
    for channel in practice:
        told[channel]["told"] += f" (practice has one: see it with {_practice(bench_path)})"
    if as_json:
        click.echo(json.dumps(told))
    else:
        for channel, line in told.items():
            click.echo(f"{channel}: {line['told']}")
    return 0 if all(line["holds"] for line in told.values()) else 1


def _there(path: Path) -> Path:
    from rig.errors import RigError

    if not path.exists():
        raise RigError("no such file", where=str(path), remedy="check the name")
    return path


def _command(channel: str, bench_path: Path | None, virtual: bool) -> str:
    """What to type for a certificate of the channel."""
    from rig.commands import typed

    bench = () if bench_path is None else ("--bench", bench_path)
    return typed("bladerig", "calibrate", channel, *bench, *["--virtual"] * virtual)


def _practice(bench_path: Path | None) -> str:
    """What to type for the certificates made in practice."""
    from rig.commands import typed

    bench = () if bench_path is None else ("--bench", bench_path)
    return typed("bladerig", "certificates", *bench, "--virtual")


def _line(one: "Certificate | None", against: "list[Reason]", command: str) -> dict[str, Any]:
    if one is None:
        told = f"no certificate yet; make one: {command}"
    elif against:
        why = "; ".join(reason.text for reason in against)
        told = f"does not hold: {why}; make a new one: {command}"
    else:
        told = f"holds. {one.sentence} Until {one.expires:%Y-%m-%d}."
    kept = None if one is None else one.to_dict()
    return {"holds": not against, "told": told, "certificate": kept}
