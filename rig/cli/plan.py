"""`bladerig study plan`: how many blades, and what they can show."""

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rig.study.answers.planning import Planned
    from rig.study.register.record import StudyRecord
    from rig.study.statistics.data import Response

PATH = click.Path(path_type=Path)


@click.command()
@click.argument("logbook", type=PATH)
@click.option("--pilot", type=PATH, help="Earlier logbook whose blades tell the scatter.")
@click.option("--out", type=PATH, help="Picture to write; left out, beside the logbook.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def plan(logbook: Path, pilot: Path | None, out: Path | None, as_json: bool) -> None:
    """How many blades each response needs, and what the blades there are can show.

    LOGBOOK is a study's logbook, or a study file (.toml) before it is begun.

    \b
    Examples:
      bladerig study plan tempers.logbook
      bladerig study plan study.toml --pilot pilot.logbook
    """
    from rig.study.answers.plan_words import whole_cost
    from rig.study.answers.planning import plans
    from rig.study.register.workload import entered, lines

    record = _record(logbook)
    pilots = None
    if pilot is not None:
        from rig.study.answers.pilot import scatters

        pilots = scatters(pilot, record.response)
    told = plans(record, pilots)
    if as_json:
        from dataclasses import asdict

        plans_told, here = [asdict(p) for p in told], [asdict(one) for one in entered(record)]
        click.echo(json.dumps({"plans": plans_told, "here": here, "mind": record.cautions()}))
        return
    for one in told:
        _show_plan(one, record)
    click.echo(f"\n{whole_cost(told)}")
    for line in lines(record, entered(record)):
        click.echo(line)
    for caution in record.cautions():
        click.echo(f"mind: {caution}")
    from rig.report.planfigure import write

    picture = write([one.plan for one in told], out or logbook.with_suffix(".plan.svg"))
    click.echo(f"Picture: {picture}")
    click.echo(f"Next: {_after_plan(logbook)}")


def _after_plan(path: Path) -> str:
    from rig.commands import typed

    if path.suffix == ".toml":
        return typed("bladerig", "study", "new", path, "NAME.logbook")
    from rig.logbook.store import Logbook
    from rig.study.register import kept

    with Logbook.open(path, writable=False) as book:
        study = kept.require(book)
    if study.order is None:
        return typed("bladerig", "study", "deal", path)
    if study.opened:
        return f"{typed('bladerig', 'study', 'init', 'NEXT.toml')} for the study that follows"
    return typed("bladerig", "study", "next", path)


def _record(path: Path) -> "StudyRecord":
    from rig.logbook.store import Logbook
    from rig.study.register import kept, study_file

    if path.suffix == ".toml":
        return study_file.load(path)
    with Logbook.open(path, writable=False) as book:
        return kept.require(book).record


def _show_plan(one: "Planned", record: "StudyRecord") -> None:
    from rig.study.answers.plan_words import blind_below, in_words, never_sure
    from rig.study.answers.planning import as_entered, here
    from rig.study.statistics.phrases import begin, share, size
    from rig.study.statistics.plan import NAMES

    response = one.response
    head, *more = in_words(one)
    click.echo(f"\n{begin(response.name)}: {head}")
    for line in more:
        click.echo(f"  {line}")
    matters, margin = (size(response, value) for value in (response.smallest, response.margin))
    click.echo(
        f"  chance to find {matters} (that matters), where it is true; and to rule out\n"
        f"  differences above the margin ({margin}), where the groups are truly alike\n"
        f"  {NAMES[one.plan.design.unit]:>20}   smallest difference found 8 times in 10   "
        "to find   to rule out"
    )
    unequal = as_entered(one, record)
    for row in one.plan.rows:
        mark = "  <- as entered" if row.units == here(record) and not unequal else ""
        click.echo(
            f"  {row.units:20d}   {_found(response, row.detectable):>39}   "
            f"{share(row.chance):>7}   {share(row.ruled_out):>11}{mark}"
        )
    if unequal:
        sizes = ", ".join(f"{name} {count}" for name, count in unequal.sizes.items())
        click.echo(
            f"  as entered, {sizes} ({NAMES[one.plan.design.unit]}), the pair that shows least: "
            f"{_found(response, unequal.detectable)} found 8 times in 10; chance to find what "
            f"matters {share(unequal.chance)}"
        )
    for text in filter(None, (blind_below(one), never_sure(one))):
        click.echo(f"  {text}")


def _found(response: "Response", value: float) -> str:
    from rig.study.statistics.data import LOG
    from rig.study.statistics.phrases import about, size

    said = about if response.scale == LOG else size
    return said(response, value) if math.isfinite(value) else "none"
