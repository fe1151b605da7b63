"""No budget is shown with a bare key: every quantity of every measurement has plain words."""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import rig
from rig.logbook import Logbook
from rig.report.rowwords import IN_UNIT, STRIKE, WORDS, row_name
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, new_book, run
from tests.guide.test_impact import at

SOURCES = ("measure", "calibration", "guide")
NAMED = {
    "Input", "rectangular", "Part", "as_input", "bow", "angle_between", "contact_height",
    "branch_input", "preload_point", "_named",
}  # fmt: skip
"""What takes the name of a quantity of a budget, first or second."""
INSIDE = {"bend"}  # enters the fit of the fall, and no budget that is kept
SCALES = {f"{name}_{end}" for name in ("torque", "angle") for end in ("scale", "point")}


def names() -> set[str]:
    """Every name written in the program where a quantity of a budget is made."""
    folder = Path(rig.__file__).parent
    return {
        name
        for source in SOURCES
        for path in (folder / source).rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call)
        for name in _named(call)
    }


def _named(call: ast.Call) -> Iterator[str]:
    called = call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")
    given = (
        [word.value for word in call.keywords if word.arg == "name"]
        if called == "replace"
        else (call.args[:2] if called in NAMED else [])
    )
    for one in given:
        if isinstance(one, ast.Constant) and isinstance(one.value, str) and " " not in one.value:
            yield one.value


def test_every_name_in_the_program_has_plain_words() -> None:
    found = names() - INSIDE | SCALES
    assert len(found) > 60, "the search itself finds them"
    without = {name for name in found if name not in WORDS}
    assert not without


def test_no_words_are_kept_for_a_name_that_is_gone() -> None:
    made = names() | SCALES | {"preload_point", "contact", "time_base", "thickness", "width",
                              "from_axis", "first", "last", "zero_return", "change_of_side",
                              "a_eff"}  # fmt: skip
    assert set(WORDS) <= made and {name for name, _ in IN_UNIT} <= set(WORDS)


def rows(book: Logbook) -> Iterator[dict[str, Any]]:
    """Every row of every budget in a logbook."""
    for result in book.results():
        for measurand in result.result["measurands"].values():
            yield from measurand["rows"]


def test_no_result_of_a_drop_with_a_second_strike_has_a_bare_key(tmp_path: Path) -> None:
    jammed = VirtualRig(hook=at("Drop 1:", lambda r: r.tower.fault("catch_jammed")))
    with new_book(tmp_path) as book:
        run(book, jammed, *impact(spare="0"))
        found = list(rows(book))
    assert {"strike 2", "dent"} <= {row["name"] for row in found}
    assert not [row["name"] for row in found if not told(row)]
    assert row_name("strike 2") == "speed of strike 2"


@pytest.mark.parametrize(
    ("procedure", "tip"),
    [("pry_to_failure", "snap"), ("pry_to_failure", "bend"), ("edge_twist", "snap")],
)
def test_no_result_at_the_arm_has_a_bare_key(tmp_path: Path, procedure: str, tip: str) -> None:
    path, _ = JigRig(TIPS[tip]).run(tmp_path, procedure)
    with Logbook.open(path, writable=False) as book:
        found = list(rows(book))
    assert len({row["name"] for row in found}) > 10
    assert not [row["name"] for row in found if not told(row)]


def told(row: dict[str, Any]) -> bool:
    return row["name"] in WORDS or STRIKE.fullmatch(row["name"]) is not None


def test_one_name_of_unlike_things_is_told_by_its_unit() -> None:
    assert row_name("scale", "1") == "scale of the gauge (a factor)"
    assert row_name("scale", "m/count") == "height scale (metres a count)"
    assert row_name("filter", "J") != row_name("filter", "N.m")
