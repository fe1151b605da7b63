"""The room stands beside the measurements: they do not know it, and it knows little of them."""

import ast
from collections.abc import Iterator
from pathlib import Path

RIG = Path(__file__).parents[2] / "rig"
MAY_USE_IT = {"geometry", "drawings", "cli"}
IT_MAY_USE = ("rig.geometry", "rig.bench", "rig.errors", "rig.tables")


def imported(file: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{name.name}" for name in node.names)
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)


def test_nothing_but_drawings_and_commands_uses_the_geometry() -> None:
    for file in RIG.rglob("*.py"):
        room = file.relative_to(RIG).parts[0]
        if room not in MAY_USE_IT:
            used = [
                name for name in imported(file) if name.startswith(("rig.geometry", "rig.drawings"))
            ]
            assert not used, (file, used)


def test_the_geometry_imports_downwards_only() -> None:
    for file in (RIG / "geometry").glob("*.py"):
        for name in imported(file):
            assert not name.startswith("rig.") or name.startswith(IT_MAY_USE), (file.name, name)
