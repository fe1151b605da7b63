"""The fixtures' design values, which a bench file need not repeat."""

import re
import tomllib
from pathlib import Path
from typing import Any

from rig import tables

# Part of the bench file: the fixture folder of its usual design, and the file in there.
FIXTURES = {
    "tower": ("drop_tower", "tower.toml"),
    "pry": ("pry_jig", "jig.toml"),
    "twist": ("twist_jig", "jig.toml"),
    "frame": ("cutting_frame", "frame.toml"),
}


def fixtures_folder() -> Path:
    """The fixtures: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    inside = package / "fixtures"
    return inside if inside.is_dir() else package.parent / "fixtures"


def fixture(
    part: str, usual: tuple[str, str], own: dict[str, Any], name: str, text: str
) -> tuple[dict[str, Any], list[str]]:
    """The design of a part; for one that is not there the usual one, with the fault."""
    folder, design_file = usual
    wanted, faults = own.get("fixture", folder), []
    design = _design(wanted, design_file)
    if design.get("kind") != folder:
        there = ", ".join(_designs(folder, design_file))
        place = tables.place((part, "fixture"), text, name)
        faults.append(f"{place}: no fixture {wanted!r}; there is {there}")
        design = _design(folder, design_file)
    design["fixture"] = design.pop("kind")
    return design, faults


def _design(wanted: object, design_file: str) -> dict[str, Any]:
    """What a fixture's folder says; empty when there is no such folder."""
    file = fixtures_folder() / str(wanted) / design_file
    return tomllib.loads(file.read_text(encoding="utf-8")) if _is_name(str(wanted), file) else {}


def _is_name(wanted: str, file: Path) -> bool:
    return re.fullmatch(r"\w+", wanted) is not None and file.is_file()


def _designs(kind: str, design_file: str) -> list[str]:
    """Fixture folders that hold a design of this kind."""
    files = fixtures_folder().glob(f"*/{design_file}")
    return sorted(
        file.parent.name
        for file in files
        if tomllib.loads(file.read_text(encoding="utf-8")).get("kind") == kind
    )


def over(base: dict[str, Any], top: dict[str, Any]) -> dict[str, Any]:
    """`top` laid over `base`, table by table."""
    merged = dict(base)
    for key, value in top.items():
        below = merged.get(key)
        both = isinstance(value, dict) and isinstance(below, dict)
        merged[key] = over(below, value) if both else value  # type: ignore[arg-type]
    return merged
