"""The calibrations' pages against the program: reasons and figures are never told in two ways."""

import ast
from pathlib import Path
from types import ModuleType

import pytest

from procedures import calibrate_load
from rig.calibration import angle, chart, curve, height, limits, load, refusals
from tests.calibration.settings import BENCH, facts
from tests.fixtures.pages import ROOT, table, words

PAGES = {name: ROOT / "procedures" / f"calibrate_{name}.md" for name in ("load", "angle", "height")}


def reason_names(*modules: ModuleType) -> set[str]:
    """Names that the modules give to `Reason("name", ...)`."""
    found = set()
    for module in modules:
        tree = ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))
        found |= {
            call.args[0].value
            for call in ast.walk(tree)
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Reason"
            if call.args and isinstance(call.args[0], ast.Constant)
        }
    return found


@pytest.mark.parametrize(
    ("page", "modules"),
    [("load", (load, refusals)), ("angle", (angle,)), ("height", (height,))],
)
def test_every_reason_is_explained_and_none_that_is_not_there(
    page: str, modules: tuple[ModuleType, ...]
) -> None:
    told = {row[0].strip("`") for row in table(PAGES[page], "reason")}
    assert told == reason_names(*modules)


def test_the_load_page_s_figures_are_the_program_s() -> None:
    text, cal = words(PAGES["load"]), BENCH.pry.calibration
    assert f"0.59 to {facts().torque_nm(cal.masses_kg[-1]):.1f} N·m at 300 mm" in text
    assert f"every {cal.months_valid} months" in text
    assert f"the program waits {cal.settle_s:g} s and reads {cal.read_s:g} s" in text
    assert f"hangs {calibrate_load.CREEP_S:g} s more" in text
    assert f"{limits.FACTOR} times the scatter" in text
    assert f"at {curve.LEVEL:.0%}".replace("%", " %") in text
    assert f"more than {100 * load.MATTERS:g} % of the largest" in text
    assert f"more than {100 * refusals.ZERO_LIMIT:g} % of the largest reading" in text
    assert f"once there are {chart.ENOUGH}" in text
    assert f"one weight ({BENCH.pry.check.mass_kg:g} kg)" in text


def test_the_other_pages_figures_are_the_program_s() -> None:
    assert f"for {height.MONTHS} months" in words(PAGES["height"])
    assert f"more than {height.RETURN_COUNTS:g} counts apart" in words(PAGES["height"])
    assert "(0.05°, `pry.calibration.u_stop_deg`)" in words(PAGES["angle"])
    assert BENCH.pry.calibration.u_stop_deg == 0.05


def test_no_page_and_no_message_turns_a_sensor_s_supply_round() -> None:
    told = words(PAGES["angle"])
    assert "**never** swap the sensor's supply and 0 V" in told
    for file in (
        *ROOT.glob("rig/**/*.py"),
        *ROOT.glob("procedures/**/*"),
        *ROOT.glob("fixtures/**/*.md"),
    ):
        if file.suffix in (".py", ".md"):
            assert "outer wires" not in file.read_text(encoding="utf-8"), file
