"""`bladerig study next` and `unseal`: which trial comes now, and the end of blindness."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rig.logbook.store import Logbook
    from rig.study.register.kept import Order, Planned
    from rig.study.register.order import Seal

PATH = click.Path(path_type=Path)
LOGBOOK = click.argument("logbook", type=PATH)
JSON = click.option("--json", "as_json", is_flag=True, help="For programs.")


@click.command(name="next")
@LOGBOOK
@JSON
def next_(logbook: Path, as_json: bool) -> None:
    """Which blade and which procedure comes now, and what to type.

    \b
    Example:  bladerig study next tempers.logbook
    """
    from rig.guide.resume_command import command
    from rig.logbook.store import Logbook
    from rig.study.register import kept, to_type, trials
    from rig.study.register.practice import practice

    with Logbook.open(logbook, writable=False) as book:
        found = kept.require(book)
        order = _dealt(found.order, logbook)
        remaining = kept.left(book, found)
        practised = practice(book)
        told: dict[str, Any] = {
            "left": len(remaining),
            "command": None,
            "unfinished": [
                {"run_id": run.run_id, "procedure": run.procedure, "command": command(run, logbook)}
                for run in book.unfinished_runs()
            ],
            "not_counted": [vars(one) for one in trials.not_counting(book)],
            "unsealed": found.opened,
            "given_up": _given_up(book, remaining[:1], logbook),
            "practice": practised,
            "closing": to_type.closing(found, logbook),
            "labels": _labels_left(logbook, found.opened),
        }
    if remaining:
        told |= {
            "command": to_type.command(remaining[0], found.record, str(logbook), practised),
            **vars(remaining[0]),
        }
    click.echo(json.dumps(told) if as_json else _said_next(told, len(order.trials)))


def _said_next(told: dict[str, Any], planned: int) -> str:
    """What comes next, and what went wrong so far."""
    lines = [f"did not count: {one['trial']} (run {one['run_id']}): {one['why']}"
             for one in told["not_counted"]]  # fmt: skip
    if lines:
        lines.append("Where a blade allows it, make such a trial again with the same command.\n")
    if told["labels"]:
        lines.append(
            f"mind: {told['labels']} shows the key; when the labels are printed, delete it\n"
        )
    for one in told["unfinished"]:
        lines.append(
            f"Run {one['run_id']} ({one['procedure']}) is unfinished. Go on with it first:\n"
            f"{one['command']}"
        )
    if told["unfinished"]:
        return "\n".join(lines)
    if told["command"] is None:
        lines.append(f"All {planned} trials are made. Next: {told['closing']}")
    else:
        lines.append(
            f"Trial {told['place']} of {planned}: {told['procedure']} on blade {told['code']}, "
            f"{told['block']}\n{told['command']}"
        )
        lines += told["given_up"]
        if told["place"] == 1 and not told["practice"]:
            lines.append("To practise without hardware add --virtual.")
    return "\n".join(lines)


def _given_up(book: "Logbook", trial: "list[Planned]", logbook: Path) -> list[str]:
    """What to do when a run of the next trial was given up: again, or never."""
    from rig.commands import typed

    told = []
    for one in trial:
        given_up = [
            run
            for run in book.runs()
            if run.procedure == one.procedure
            and run.outcome == "abandoned"
            and str(run.params.get("specimen", "")).upper() == one.code
        ]
        if given_up:
            run = given_up[-1]
            lost = typed(
                "bladerig", "study", "lost", logbook, one.code, "--reason", "what happened"
            )
            told.append(
                f"Run {run.run_id} of it was given up ({run.reason}). If the blade cannot be "
                f"tested any more:\n{lost}"
            )
    return told


def labels_of(logbook: Path) -> Path:
    """Where the label sheet goes when nobody names another place."""
    return logbook.with_suffix(".labels.html")


def _labels_left(logbook: Path, opened: bool) -> str:
    """The label sheet, while it lies beside a sealed logbook for everybody to read."""
    sheet = labels_of(logbook)
    return str(sheet) if sheet.exists() and not opened else ""


def _dealt(order: "Order | None", logbook: Path) -> "Order":
    from rig.errors import RigError

    if order is None:
        raise RigError(
            "the codes are not dealt yet",
            where=str(logbook),
            remedy=f"bladerig study deal {logbook}",
        )
    return order


@click.command()
@LOGBOOK
@click.option("--reason", help="Why now; needed while planned trials are left.")
@click.option("--key-file", type=PATH, help="File of the key, where it was put into one.")
@JSON
def unseal(logbook: Path, reason: str | None, key_file: Path | None, as_json: bool) -> None:
    """Open the key of the codes. It is recorded, and the report tells when it happened.

    \b
    Example:  bladerig study unseal tempers.logbook
    """
    from rig.commands import typed
    from rig.errors import RigError
    from rig.logbook.store import Logbook
    from rig.study.register import kept
    from rig.study.statistics.phrases import are

    with Logbook.open(logbook, writable=True) as book:
        found = kept.require(book)
        order = _dealt(found.order, logbook)
        remaining = len(kept.left(book, found))
        if remaining and not reason and not found.opened:
            raise RigError(
                f"{are(remaining, 'planned trial')} left; opened now, no trial after it is blind",
                where=str(logbook),
                remedy="make them first, or add --reason 'why' (the report will tell it)",
            )
        sealed = None if found.opened else _with_key(order, key_file, logbook)
        key = kept.unseal(
            book, reason or "all planned trials are made", sealed,
            labels_left=labels_of(logbook).exists(),
        )  # fmt: skip
    if as_json:
        click.echo(json.dumps({"key": key, "trials_left": remaining}))
        return
    for code, blade in sorted(key.items()):
        click.echo(f"  {code}  {blade}")
    said = (
        f"Was unsealed at {found.unsealed[0]['at_utc']:%Y-%m-%d %H:%M} UTC"
        if found.opened
        else "Unsealed, on record"
    )
    click.echo(f"{said}. Next: {typed('bladerig', 'compare', logbook)}")


def _with_key(order: "Order", key_file: Path | None, logbook: Path) -> "Seal":
    """The seal with its key, from where it is kept."""
    from rig.errors import RigError
    from rig.study.register import sealing
    from rig.study.register.order import FILE, PASSPHRASE

    if order.sealed.held == FILE:
        if key_file is None:
            raise RigError(
                "the key is not in the logbook but in a file of its own",
                where=str(logbook),
                remedy="add --key-file PATH, the file that 'bladerig study deal' wrote",
            )
        return sealing.fetched(order.sealed, key_file)
    if key_file is not None:
        raise RigError("the key is in the logbook", where="--key-file", remedy="leave it out")
    if order.sealed.held == PASSPHRASE:
        word = click.prompt("Passphrase of the key", hide_input=True, err=True)
        return sealing.unlocked(order.sealed, str(word))
    return order.sealed
