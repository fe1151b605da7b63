"""The whole guided pry on the real firmware, executed instruction by instruction: every end."""

from pathlib import Path

import pytest

from rig.guide.recompute import recompute
from rig.logbook.audit import audit
from rig.virtual.arm.plant import Jig
from rig.virtual.board.converter import Converter
from rig.virtual.tower.plant import Tower
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.guide.jigs import TIPS, JigRig


def emulated(tower: Tower, jig: Jig) -> EmulatedBoard:
    return EmulatedBoard(
        build_image(), tower, jig=jig, converter=Converter(jig, 3),
        angle_noise_steps=jig.nature.sensor.noise_lsb, resonator_error=0.004,
    )  # fmt: skip


@pytest.mark.parametrize("kind", TIPS)
def test_the_firmware_carries_a_whole_pry_to_each_kind_of_end(tmp_path: Path, kind: str) -> None:
    rig = JigRig(TIPS[kind], emulated)
    path, told = rig.run(tmp_path, "pry_to_failure")
    trial, truth = told["trials"][0], rig.jig.truth[-1]
    assert trial["kind"] == kind
    assert trial["valid"] is (kind != "slip"), trial["reasons"]
    if kind != "slip":
        assert abs(trial["peak_torque_nm"] - truth.peak_nm) <= trial["peak_torque_U_nm"]
    assert audit(path) == []
    assert all(one.same for one in recompute(path))


def test_the_firmware_carries_a_whole_twist(tmp_path: Path) -> None:
    rig = JigRig(TIPS["snap"], emulated)
    path, told = rig.run(tmp_path, "edge_twist", cycles="3")
    truth = rig.jig.twists[-1]
    assert told["valid"], told["reasons"]
    largest = max(*truth.right_nm, *truth.left_nm)
    assert abs(told["peak_torque_nm"] - largest) <= told["peak_torque_U_nm"]
    assert all(one.same for one in recompute(path))
