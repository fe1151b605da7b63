"""`bladerig study ...`: the question, the blades, the plan, the blind codes, what comes next."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.accidents import found as found_
from rig.cli.accidents import lost
from rig.cli.dealt import deal
from rig.cli.plan import plan
from rig.cli.study_next import JSON, LOGBOOK, PATH, next_, unseal
from rig.cli.today import today

if TYPE_CHECKING:
    from rig.logbook.store import Logbook
    from rig.study.register.kept import Kept


@click.group()
def study() -> None:
    """A whole study: question, blades, plan, blind codes, and the trial that comes next.

    \b
    bladerig study init study.toml         write a study file to fill in
    bladerig study plan study.toml         how many blades, and what they can show
    bladerig study new study.toml tempers.logbook
    bladerig study deal tempers.logbook    blind codes and random order; the key is sealed
    bladerig study next tempers.logbook    which blade and which test comes now
    bladerig study today tempers.logbook   the trials of the next hours, jig by jig
    bladerig study lost tempers.logbook KR4 --reason "mislaid"
    bladerig study unseal tempers.logbook  after the last trial: the key, on record
    bladerig compare tempers.logbook       shown, above your margin ruled out, or cannot tell
    bladerig report tempers.logbook        the report: to read, to print, to check
    """


@study.command()
@click.argument("path", type=PATH, default=Path("study.toml"))
def init(path: Path) -> None:
    """Write a study file to fill in (never over one that is there).

    \b
    Example:  bladerig study init study.toml
    """
    from rig.cli import out_paths
    from rig.commands import typed
    from rig.errors import RigError
    from rig.study.register.template import template

    out_paths.require_file(path)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(template())
    except FileExistsError:
        raise RigError(
            "is there already", where=str(path), remedy="edit it, or name another"
        ) from None
    new = typed("bladerig", "study", "new", path, "NAME.logbook")
    click.echo(f"wrote {path}; fill it in, then: {new}")


@study.command()
@click.argument("path", type=PATH)
@LOGBOOK
def new(path: Path, logbook: Path) -> None:
    """Begin the study of the file PATH in LOGBOOK (made if it is not there).

    Until the codes are dealt the same command takes a changed file in.

    \b
    Example:  bladerig study new study.toml tempers.logbook
    """
    from rig.commands import typed
    from rig.logbook.store import Logbook
    from rig.study.register import kept, study_file
    from rig.study.statistics.phrases import many

    wanted = study_file.load(path)
    opened = (
        Logbook.open(logbook, writable=True)
        if logbook.exists()
        else Logbook.create(logbook, title=wanted.title)
    )
    with opened as book:
        kept.enter(book, wanted)
    for caution in wanted.cautions():
        click.echo(f"mind: {caution}")
    click.echo(
        f"{logbook}: {many(len(wanted.blade), 'blade')} in {many(len(wanted.group), 'group')}, "
        f"{many(len(wanted.response), 'response')}; next: "
        f"{typed('bladerig', 'study', 'plan', logbook)}"
    )


@study.command()
@LOGBOOK
@click.argument("settings", nargs=-1, required=True, metavar="NAME=VALUE...")
def add(logbook: Path, settings: tuple[str, ...]) -> None:
    """Add a blade by command, with what is known of it.

    \b
    Example:  bladerig study add tempers.logbook name=A3 group="one temper" load="furnace 2" \\
                angle_deg=15 thickness="0.31 mm"
    """
    from rig.cli.run import pairs
    from rig.commands import typed
    from rig.logbook.store import Logbook
    from rig.study.register import kept, study_file
    from rig.study.statistics.phrases import many

    told: dict[str, Any] = dict(pairs(settings))
    if "angle_deg" in told:
        told["angle_deg"] = _number(told["angle_deg"], "angle_deg")
    with Logbook.open(logbook, writable=True) as book:
        record = study_file.with_blade(kept.require(book).record, told)
        kept.enter(book, record)
    plan = typed("bladerig", "study", "plan", logbook)
    click.echo(f"{logbook}: {many(len(record.blade), 'blade')} now; next: {plan}")


def _number(text: str, where: str) -> float:
    from rig.errors import RigError

    try:
        return float(text)
    except ValueError:
        raise RigError(
            f"'{text}' is not a number", where=where, remedy="write it like 15.5", value=text
        ) from None


@study.command()
@LOGBOOK
@JSON
def show(logbook: Path, as_json: bool) -> None:
    """The study as entered: question, groups, blades, responses, and how far it is.

    \b
    Example:  bladerig study show tempers.logbook
    """
    from rig.logbook.store import Logbook
    from rig.study.register import kept

    with Logbook.open(logbook, writable=False) as book:
        found = kept.require(book)
        progress = _progress(book, found)
    if as_json:
        told = found.record.model_dump(mode="json")
        click.echo(json.dumps({**told, "progress": progress, "unsealed": found.opened}))
        return
    record = found.record
    click.echo(f"{record.title}\n{record.question}\n")
    for group in record.group:
        blades = [b.name for b in record.blade if b.group == group.name]
        click.echo(
            f"{group.name}{' (control)' * group.control}: {', '.join(blades) or 'no blades'}"
        )
    for response in record.response:
        main = " (primary)" * (response.name == record.primary)
        click.echo(f"compared: {response.kind.title}{main}")
    click.echo(f"\n{progress}")


def _progress(book: "Logbook", found: "Kept") -> str:
    from rig.study.register import kept
    from rig.study.statistics.phrases import are

    if found.order is None:
        return "The codes are not dealt yet."
    trials = found.order.trials
    made = kept.done(book)
    ready = sum(made[one.procedure, one.code] >= one.repeat for one in trials)
    lost = len(trials) - ready - len(kept.left(book, found))
    told = f"{ready} of {len(trials)} planned trials are made."
    return told + (f" {are(lost, 'trial')} of lost blades." if lost else "")


for one in (plan, deal, next_, today, lost, found_, unseal):
    study.add_command(one)
