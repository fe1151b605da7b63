"""`bladerig compare`: what the study says, response by response."""

import json
from pathlib import Path

import click


@click.command()
@click.argument("logbook", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def compare(logbook: Path, as_json: bool) -> None:
    """Compare the groups of a study: difference shown, ruled out, or cannot tell.

    Blades are compared, never single trials. The key of the blind codes must be open.

    \b
    Example:  bladerig compare tempers.logbook
    """
    from rig.report import studypage

    if as_json:
        click.echo(json.dumps(studypage.content(logbook)))
        return
    study, _, answers = studypage.answers(logbook)
    click.echo(f"{study.record.question}\n")
    for one in answers:
        click.echo(f"{one.headline}")
        for line in one.lines:
            click.echo(f"  {line.sentence}")
        for left_out in one.excluded:
            click.echo(f"  left out: {left_out.trial}: {'; '.join(left_out.reasons)}")
        click.echo("")
    click.echo(f"Next: bladerig report {logbook}")
