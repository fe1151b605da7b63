"""`bladerig bench ...`: the bench file."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli import out_paths

if TYPE_CHECKING:
    from rig.study.statistics.capability import Capability
    from rig.study.statistics.capability_range import Range

DEFAULT = Path("bench.toml")


@click.group()
def bench() -> None:
    """The bench file: what your rig weighs and measures."""


@bench.command()
@click.argument("path", type=click.Path(path_type=Path), default=DEFAULT)
def init(path: Path) -> None:
    """Write a bench file to fill in (never over one that is there).

    \b
    Example:  bladerig bench init
    """
    from rig.bench import TEMPLATE, fixtures_folder
    from rig.commands import typed
    from rig.errors import RigError

    if not path.exists():
        out_paths.require_file(path)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(TEMPLATE.format(fixture=fixtures_folder() / "drop_tower" / "tower.toml"))
    except FileExistsError:
        raise RigError(
            "is there already", where=str(path), remedy="edit it, or name another"
        ) from None
    click.echo(
        f"wrote {path}; weigh the carriage and write mass_kg and u_mass_kg in it, then: "
        f"{typed('bladerig', 'bench', 'check', path)}"
    )


@bench.command()
@click.argument("path", type=click.Path(path_type=Path), default=DEFAULT)
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def check(path: Path, as_json: bool) -> int:
    """Check a bench file: every fault at once, each with its line and key.

    The fixtures are put together on the computer too, with your own sizes where you wrote some
    under [tower.parts], [pry.parts], [twist.parts] or [frame.parts]: what would not fit, not hold
    or not reach is told.

    Code 1 while the carriage's mass is still the design's: drops are then an indication only.

    \b
    Example:  bladerig bench check bench.toml
    """
    from rig import bench as benches
    from rig.geometry import closure
    from rig.tables import FileFaults

    loaded = benches.load(path)
    if found := closure.faults(loaded, closure.of_bench(path)):
        raise FileFaults([f"{path}: {fault}" for fault in found])
    lacking = list(loaded.tower.carriage.against)
    if as_json:
        told = {"path": str(path), "name": loaded.name, "faults": [], "lacking": lacking}
        click.echo(json.dumps(told))
    elif lacking:
        for reason in lacking:
            click.echo(f"{path}: {reason}")
        click.echo(f"{path}: no faults; until that is done every drop is an indication only")
    else:
        click.echo(f"{path}: in order ({loaded.name}); next: bladerig board list")
    return 1 if lacking else 0


@bench.command()
@click.argument("path", type=click.Path(path_type=Path), required=False)
@click.option("--out", type=click.Path(path_type=Path), default=Path("drawings"),
              show_default=True, help="Folder for the files.")  # fmt: skip
@click.option("--only", type=click.Choice(["tower", "pry", "twist", "frame"]),
              help="One fixture instead of all four.")  # fmt: skip
def draw(path: Path | None, out: Path, only: str | None) -> None:
    """Draw every part 1:1 and every fixture put together, from its sizes.

    For each fixture a folder: all.pdf to print (at 100 %; a bar of 100 mm tells), a sheet as SVG
    and a DXF to cut from for each made part, the assembly to scale. With PATH, a bench file, your
    own sizes are drawn; what does not close is refused, and nothing written. A DXF needs the
    library ezdxf: python -m pip install ezdxf

    \b
    Examples:
      bladerig bench draw
      bladerig bench draw bench.toml --only tower --out my-tower
    """
    from rig import bench as benches
    from rig.drawings import kept
    from rig.geometry import closure
    from rig.tables import FileFaults

    loaded = benches.load(path)
    parts = closure.of_bench(path) if path else closure.design()
    if found := closure.faults(loaded, parts):
        raise FileFaults([f"{path or 'the design'}: {fault}" for fault in found])
    parts, made = closure.drilled(loaded, parts), closure.assembled(loaded, parts)
    for part in [only] if only else closure.PARTS:
        folder = out / parts[part].kind / "drawings"
        files = list(kept.files(part, parts[part], made[part]))
        out_paths.require_folder(folder)
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files:
            (folder / name).write_bytes(data)
        click.echo(f"{folder}: {len(files)} files; print all.pdf at 100 %")


@bench.command()
@click.argument("path", type=click.Path(path_type=Path), default=DEFAULT)
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def show(path: Path, as_json: bool) -> None:
    """Show the bench with the fixture's design values filled in.

    \b
    Example:  bladerig bench show bench.toml
    """
    from rig import bench as benches

    loaded = benches.load(path)
    if as_json:
        click.echo(loaded.model_dump_json(indent=2))
        return
    click.echo(f"{loaded.name}")
    for line in _lines(loaded.model_dump(exclude={"name"}), ""):
        click.echo(line)


def _lines(table: dict[str, object], prefix: str) -> list[str]:
    lines = []
    for key, value in table.items():
        if isinstance(value, dict):
            lines += _lines(value, f"{prefix}{key}.")
        else:
            lines.append(f"  {prefix}{key} = {value}")
    return lines


@bench.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--measurand", default="hardness", show_default=True, help="What to take from a logbook."
)
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def capability(path: Path, measurand: str, as_json: bool) -> None:
    """Can this bench tell blades apart? Several operators read several blades several times.

    It says how much readings scatter and by what, and which operator reads high or low.

    PATH is a CSV table with the columns blade, operator, value, or a logbook whose runs were
    given operator=NAME. Two or more of each; ten blades, three operators, three readings are usual.

    \b
    Examples:
      bladerig run hardness cap.logbook specimen=K3 operator=AB    (blade by blade, each operator)
      bladerig bench capability cap.logbook --measurand hardness
      bladerig bench capability readings.csv
    """
    from rig.study.answers import side_words
    from rig.study.register.readings import from_logbook, from_table
    from rig.study.statistics import capability_range, operator_bias
    from rig.study.statistics.capability import crossed

    told = from_table(path) if path.suffix == ".csv" else from_logbook(path, measurand)
    cells = told.cells()
    found = crossed(cells)
    sure = capability_range.spread(found)
    biased = operator_bias.biases(cells, told.operators, found)
    if as_json:
        each = [vars(one) for one in biased]
        click.echo(json.dumps(_capability(found, sure, told.unit, told.left_out) | {"bias": each}))
        return
    shape = f"{len(cells[0])} blades, {len(cells)} operators, {len(cells[0][0])} readings each"
    click.echo(f"{told.measurand}: {shape}\n")
    click.echo("  scatter                        standard deviation   of the whole   of variance")
    for name, sd in _scatters(found):
        seen = f"{sd:.4g}" if sd > 0 else "none seen"
        click.echo(
            f"  {name:28}   {seen:>12} {told.unit:6}   {found.share(sd):11.1%}   "
            f"{found.contribution(sd):10.1%}"
        )
    click.echo("\n  source            degrees of freedom   sum of squares   mean square")
    for line in found.table:
        click.echo(f"  {line.source:16}   {line.df:17d}   {line.ss:14.4g}   {line.ms:11.4g}")
    click.echo(f"\nLevels that can be told apart: {_levels(found.distinct)}")
    for text in () if sure is None else capability_range.in_words(sure):
        click.echo(text)
    click.echo(side_words.capability(found, told.unit))
    for text in operator_bias.in_words(biased, told.unit):
        click.echo(text)
    for text in told.left_out:
        click.echo(f"left out: {text}")
    click.echo(f"Next: {capability_range.next_step(sure)}")


def _scatters(found: "Capability") -> list[tuple[str, float]]:
    """Components by name; the interaction only where it stands for itself."""
    told = [("same blade, same operator", found.repeatability),
            ("between operators", found.reproducibility)]  # fmt: skip
    if found.interaction is not None:
        told.append(("  of it with the blade", found.interaction))
    return [*told, ("bench and operators together", found.gauge), ("between blades", found.blades),
            ("all together", found.total)]  # fmt: skip


def _levels(distinct: float) -> str:
    return "without limit" if distinct == float("inf") else f"{int(distinct)} ({distinct:.2f})"


def _capability(
    found: "Capability", sure: "Range | None", unit: str, left_out: tuple[str, ...]
) -> dict[str, object]:
    finite = found.distinct != float("inf")
    return {
        "unit": unit,
        "repeatability": found.repeatability,
        "reproducibility": found.reproducibility,
        "interaction": found.interaction,
        "bench_and_operators": found.gauge,
        "blades": found.blades,
        "total": found.total,
        "share_of_total": found.share(found.gauge) if found.total > 0 else None,
        "distinct_levels": int(found.distinct) if finite else None,
        "intervals_95": None
        if sure is None
        else {
            "bench_and_operators": sure.gauge,
            "blades": sure.apart,
            "distinct_levels": sure.distinct,
        },
        "table": [vars(line) | {"ms": line.ms} for line in found.table],
        "reasons": [reason.text for reason in found.reasons],
        "left_out": list(left_out),
    }
