"""`bladerig study today`: what comes in the next hours, jig by jig."""

import json
from pathlib import Path

import click


@click.command()
@click.argument("logbook", type=click.Path(path_type=Path))
@click.option(
    "--hours",
    type=click.FloatRange(min=0, min_open=True, max=24),
    help="At the bench; left out, a day as the study file states it.",
)
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def today(logbook: Path, hours: float | None, as_json: bool) -> None:
    """The trials of the next hours in their order: each jig once, what to take, what to type.

    \b
    Examples:
      bladerig study today tempers.logbook
      bladerig study today tempers.logbook --hours 3
    """
    from rig.errors import RigError
    from rig.guide.resume_command import command
    from rig.logbook.store import Logbook
    from rig.study.register import kept, to_type
    from rig.study.register.ahead import ahead, in_words
    from rig.study.register.practice import practice

    with Logbook.open(logbook, writable=False) as book:
        study = kept.require(book)
        if study.order is None:
            raise RigError("the codes are not dealt yet", where=str(logbook),
                           remedy=f"bladerig study deal {logbook}")  # fmt: skip
        stretches = ahead(kept.left(book, study), study.record, hours or study.record.hours_a_day)
        unfinished = [command(run, logbook) for run in book.unfinished_runs()]
        practised, closing = practice(book), to_type.closing(study, logbook)
    if as_json:
        click.echo(json.dumps([one.to_dict() for one in stretches]))
        return
    for again in unfinished:
        click.echo(f"A run is unfinished. Go on with it first:\n{again}")
    for line in in_words(stretches, study.record, logbook, practised):
        click.echo(line)
    if not stretches:
        click.echo(f"Every trial is made. Next: {closing}")
