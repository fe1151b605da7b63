"""The plants stand on their own: what agrees with them does not agree with itself."""

import ast
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FORBIDDEN = ("rig.virtual", "rig.measure", "tests.virtual", "tests.measure")
PLANTS = sorted(path for path in HERE.glob("*.py") if not path.name.startswith("test_"))


def imported(path: Path) -> set[str]:
    """Every module that a file names in an import."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("path", PLANTS, ids=lambda path: path.name)
def test_a_plant_shares_no_code_with_the_virtual_rig_or_the_measurements(path: Path) -> None:
    wrong = {name for name in imported(path) if name.startswith(FORBIDDEN)}
    assert not wrong


@pytest.mark.parametrize("path", PLANTS, ids=lambda path: path.name)
def test_a_plant_takes_no_more_of_the_program_than_the_wire_and_the_bench_file(path: Path) -> None:
    ours = {name for name in imported(path) if name.startswith("rig.")} - {"rig.board"}
    allowed = ("rig.board.wire", "rig.bench")
    assert all(name.startswith(allowed) for name in ours)
    assert {name for name in imported(path) if name.startswith("tests.")} <= {
        name for name in imported(path) if name.startswith("tests.shop")
    }
