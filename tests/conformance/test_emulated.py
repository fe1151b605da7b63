"""The suite for every board, on the real firmware in the emulator."""

from rig.board import conformance
from rig.board.link import Link
from rig.virtual.plant import Tower
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard


def test_the_firmware_passes_every_check() -> None:
    tower = Tower()
    board = EmulatedBoard(build_image(), tower, resonator_error=tower.nature.resonator)
    found = list(conformance.run(Link(board, clock=board.clock, name="emulated board")))
    assert [finding.trouble for finding in found] == [""] * (len(conformance.CHECKS) + 1)
