"""`bladerig compare`: what the study says, response by response."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rig.study.register.kept import Planned


def not_made(left: "Sequence[Planned]", key: "Mapping[str, str]") -> str:
    """The trials that were not made, procedure by procedure, each with code and blade."""
    told: dict[str, list[str]] = {}
    for one in left:
        blade = f" ({key[one.code]})" if one.code in key else ""
        told.setdefault(one.procedure, []).append(f"{one.code}{blade}")
    return "; ".join(f"{name} of {', '.join(codes)}" for name, codes in told.items())


@click.command()
@click.argument("logbook", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def compare(logbook: Path, as_json: bool) -> None:
    """Compare the groups: a difference shown, one above your margin ruled out, or cannot tell.

    Blades are compared, never single trials. The key of the blind codes must be open.

    \b
    Example:  bladerig compare tempers.logbook
    """
    from rig.report.soundness import warning
    from rig.study.answers import common, words
    from rig.study.answers.answer import agreements
    from rig.study.answers.said import said
    from rig.study.answers.whole import unsealed
    from rig.study.register.responses import KINDS
    from rig.study.statistics.phrases import are, many
    from rig.study.statistics.verdict import SHOWN

    if told := warning(logbook):
        click.echo(told, err=True)
    study = unsealed(logbook)
    if as_json:
        click.echo(json.dumps(said(study)))
        return
    click.echo(f"{study.record.question}\n")
    shared = common.notes(study.answers)
    for one in study.answers:
        # What each pair would have found stands in its own sentence: the headline's is of all.
        click.echo(one.said if one.lines else one.headline)
        click.echo(f"  {one.yardsticks}")
        for line in one.lines:
            click.echo(f"  {line.rest if line.verdict == SHOWN else line.sentence}")
        if one.parity is not None:
            click.echo(f"  {words.parity(one.parity)}")
        for note in one.notes:
            if note not in shared:
                click.echo(f"  {note}")
        for left_out in one.excluded:
            click.echo(f"  left out: {left_out.trial}: {'; '.join(left_out.reasons)}")
        click.echo("")
    for text in shared:
        click.echo(f"Every response: {text}")
    for text in common.assumptions(study.answers):
        click.echo(f"mind: {text}")
    for text in agreements(study.answers):
        click.echo(text)
    primary = KINDS[study.record.primary].title
    if settles := words.one_settles(len(study.answers), primary):
        click.echo(f"mind: {settles}")
    if study.left:
        left = are(len(study.left), "planned trial")
        click.echo(f"mind: {left} not made: {not_made(study.left, study.key or {})}")
    for opened in study.kept.unsealed:
        if opened["trials_left"]:
            at = f"{opened['at_utc']:%Y-%m-%d %H:%M} UTC"
            early = many(opened["trials_left"], "planned trial")
            click.echo(f"mind: the key was opened early, on {at}, {early} left: {opened['reason']}")
    if study.seeing:
        blind = many(len(study.seeing), "trial")
        click.echo(f"mind: made with the key open, not blind: {blind}")
    click.echo(f"Next: bladerig report {logbook}")
