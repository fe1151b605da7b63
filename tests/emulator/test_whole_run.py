"""The whole guided impact test on the real firmware, executed instruction by instruction."""

from pathlib import Path

import pytest

from rig import bench as benches
from rig.board.link import Link
from rig.board.wire import Kind
from rig.guide.device import Device
from rig.guide.operator import ScriptedOperator
from rig.guide.recompute import recompute
from rig.guide.runner import Runner
from rig.logbook.audit import audit
from rig.virtual.person import Person
from rig.virtual.tower.plant import Tower
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.guide.rigs import ANSWERS, impact, new_book


@pytest.mark.parametrize("resonator_error", [0.0, 0.004])
def test_the_firmware_runs_a_whole_impact_test_with_a_second_strike(
    tmp_path: Path, resonator_error: float
) -> None:
    tower = Tower(seed=5)
    board = EmulatedBoard(build_image(), tower, resonator_error=resonator_error)

    def connect() -> Link:
        link = Link(board, clock=board.clock, name="emulated")
        link.stream(Kind.HEIGHT, True)
        return link

    def watch(text: str) -> None:
        if text.startswith("Drop "):
            tower.fault("catch_jammed", on=text.startswith("Drop 1:"))

    device = Device(connect(), connect, Person(tower, 5), "emulated")
    script, params = impact()
    with new_book(tmp_path) as book:
        operator = ScriptedOperator(ANSWERS, watch)
        _, told = Runner(book, benches.load(None), device, operator).start(script, params)
        path = book.path
    first, second = told["drops"]
    assert not first["valid"] and first["second_strike_j"] is not None
    assert second["valid"] and second["caught"]
    for drop, truth in zip(told["drops"], tower.truth[-2:], strict=True):
        assert abs(drop["energy_j"] - truth.impact_energy_j) < 2 * drop["energy_U_j"]
    struck = tower.truth[-2].second
    assert struck is not None
    assert first["second_strike_j"] == pytest.approx(struck.energy_j, rel=0.06)
    assert audit(path) == []
    assert all(compared.same for compared in recompute(path))
