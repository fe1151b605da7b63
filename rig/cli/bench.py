"""`bladerig bench ...`: the bench file."""

import json
from pathlib import Path

import click

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

    Code 1 while the carriage's mass is still the design's: drops are then an indication only.

    \b
    Example:  bladerig bench check bench.toml
    """
    from rig import bench as benches

    loaded = benches.load(path)
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
