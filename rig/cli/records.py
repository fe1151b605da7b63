"""`bladerig runs|report|audit|recompute|export`: what a logbook holds."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli import out_paths

if TYPE_CHECKING:
    from rig.guide.recompute import Compared

LOGBOOK = click.argument("logbook", type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="For programs.")
RUN = click.option("--run", "run_id", type=int, help="Number of the run; left out, the last one.")


@click.command()
@LOGBOOK
@JSON
def runs(logbook: Path, as_json: bool) -> None:
    """List the runs of a logbook: when, what, which blade, what came of it.

    \b
    Example:  bladerig runs blades.logbook
    """
    from rig.cli import runlines
    from rig.commands import typed
    from rig.logbook.store import Logbook
    from rig.study.register import accidents

    with Logbook.open(logbook, writable=False) as book:
        found = book.runs()
        back = accidents.withdrawn(book)
        lines = [] if as_json else [runlines.line(book, run, logbook) for run in found]
    if as_json:
        keys = ("run_id", "procedure", "params", "outcome", "reason")
        told = [
            {key: getattr(run, key) for key in keys}
            | {
                "rig": run.versions.get("device", ""),
                "withdrawn": {
                    one.trial: one.reason for one in back.values() if one.run_id == run.run_id
                },
            }
            for run in found
        ]
        click.echo(json.dumps(told))
        return
    for line in lines:
        click.echo(line)
    if not found:
        click.echo("no runs yet; start one with: " + typed("bladerig", "run", "drop_impact",
                                                           logbook, "energy=5J"))  # fmt: skip


@click.command()
@LOGBOOK
@RUN
@click.option(
    "--out", type=click.Path(path_type=Path), help="File to write; left out, beside the logbook."
)
@JSON
def report(logbook: Path, run_id: int | None, out: Path | None, as_json: bool) -> None:
    """Write the report of a study, or the page of one run.

    A logbook that holds a study gives the study's report; with --run the page of that run. Any
    other logbook gives the page of its last run.

    \b
    Examples:
      bladerig report tempers.logbook
      bladerig report blades.logbook --run 3
    """
    if out is not None:
        out_paths.require_file(out)
    _warn(logbook)
    if run_id is None and _has_study(logbook):
        from rig.report import studypage

        told, said = studypage.write(logbook, out)
        lines = [str(one["headline"]) for one in said["answers"]]
    else:
        from rig.report import page

        told = page.write(logbook, run_id, out)
        said = page.content(logbook, run_id)
        practice = "VIRTUAL RIG, practice: " * (said["rig"] == "virtual")
        lines = [f"Run {said['run_id']}, {said['procedure']}: {practice}{said['verdict']}"]
    if as_json:
        click.echo(json.dumps({"report": str(told), **said}))
        return
    for line in [*lines, f"Report: {told}; open it in a browser, or print it"]:
        click.echo(line)


def _warn(logbook: Path) -> None:
    """Tell before any number that the logbook was changed after it was written."""
    from rig.report.soundness import warning

    if told := warning(logbook):
        click.echo(told, err=True)


def _has_study(logbook: Path, dealt: bool = False) -> bool:
    from rig.logbook.store import Logbook
    from rig.study.register import kept

    with Logbook.open(logbook, writable=False) as book:
        found = kept.found(book)
    return found is not None and (found.order is not None or not dealt)


@click.command()
@LOGBOOK
@JSON
def recompute(logbook: Path, as_json: bool) -> int:
    """Compute every result again from its raw frames, and compare.

    Values are the same within a thousandth of their U, other numbers within a millionth:
    another processor adds up in another order. Words alone may differ after an update; that is
    told, and no fault. Exit code 1 when a number, a kind or a reason is another one.

    \b
    Example:  bladerig recompute blades.logbook
    """
    from rig.guide.recompute import recompute as again

    compared = again(logbook)
    differing = [c for c in compared if not c.same]
    if as_json:
        told = [
            {"result_id": c.result_id, "trial": c.trial, "version": c.version,
             "differences": [found.text for found in c.differences if not found.words]}
            for c in differing
        ]  # fmt: skip
        reworded = sum(c.reworded for c in compared)
        click.echo(json.dumps({"results": len(compared), "differing": told, "reworded": reworded}))
    else:
        for line in _recomputed(compared):
            click.echo(line)
    return 1 if differing else 0


def _recomputed(compared: "Sequence[Compared]") -> Iterator[str]:
    """What a recomputation found, a line each, and how many are the same."""
    for one in compared:
        if one.same:
            continue
        places = [found.text for found in one.differences if not found.words]
        more = f"; and {len(places) - 1} more" if len(places) > 1 else ""
        yield f"result {one.result_id} ({one.trial}), stored {one.by}: {places[0]}{more}"
    reworded = [one for one in compared if one.reworded]
    if reworded:
        yield (
            f"{len(reworded)} said in other words now (stored {reworded[0].by}); the numbers are "
            "the same"
        )
    same, results = sum(one.same for one in compared), "result" + "s" * (len(compared) != 1)
    are = "is" if 1 in (same, len(compared)) else "are"
    yield f"{same} of {len(compared)} {results} {are} the same, values within 0.001 U"


@click.command()
@LOGBOOK
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the tables.")
@click.option(
    "--copy", "copy_to", type=click.Path(path_type=Path), metavar="FILE",
    help="Make one whole file of the logbook and its side file.",
)  # fmt: skip
@JSON
def export(logbook: Path, out: Path | None, copy_to: Path | None, as_json: bool) -> None:
    """Write trials, results and traces as CSV tables, or make a whole copy of the logbook.

    While a run goes on, and after the power was cut, the newest rows stand in a side file beside
    the logbook, blades.logbook-wal: a copy without it lacks them. --copy puts both into one file.

    \b
    Examples:
      bladerig export blades.logbook --out tables
      bladerig export blades.logbook --copy /media/stick/blades.logbook
    """
    from rig.errors import RigError

    if out is None and copy_to is None:
        raise RigError("nothing to write", where="export", remedy="give --out FOLDER, --copy FILE")
    if out is not None:
        out_paths.require_folder(out)
    _warn(logbook)
    written = [] if out is None else _tables(logbook, out)
    rows = None if copy_to is None else _whole_copy(logbook, copy_to)
    if as_json:
        told = [str(path) for path in written]
        click.echo(json.dumps(told if rows is None else {"tables": told, "copied_rows": rows}))
        return
    if out is not None:
        click.echo(f"wrote {len(written)} files to {out}; start with {out / 'columns.csv'}")
    if rows is not None:
        click.echo(f"{copy_to}: whole, {rows} journal rows; it needs no other file")


def _tables(logbook: Path, out: Path) -> list[Path]:
    """The logbook's tables, and those of its study."""
    from rig.report import tables

    written = tables.export(logbook, out)
    if _has_study(logbook, dealt=True):
        from rig.report import studytables

        written += studytables.export(logbook, out)
    return written


def _whole_copy(logbook: Path, to: Path) -> int:
    from rig.logbook.copying import whole_copy

    out_paths.require_file(to)
    return whole_copy(logbook, to)
