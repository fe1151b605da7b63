"""Boards ready for a test."""

from typing import NamedTuple

from rig.board import wire
from rig.board.wire import Op
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.host import Host
from tests.emulator.scripted import ScriptedTower

HEIGHT_PERIOD_S = 1e-3


class Bench(NamedTuple):
    """A tower that follows a script, the board, and a host that checks all it hears."""

    tower: ScriptedTower
    board: EmulatedBoard
    host: Host


def bench(start_s: float = 0.1, resonator_error: float = 0.0) -> Bench:
    """A board that has booted and said HELLO."""
    tower = ScriptedTower()
    board = EmulatedBoard(build_image(), tower, resonator_error=resonator_error)
    host = Host(board)
    host.run(start_s)
    return Bench(tower, board, host)


def load_all(host: Host, interval_ms: int = 2) -> None:
    """Every stream on: height, all ports on change, four analog inputs each `interval_ms`."""
    host.ask(Op.STREAM, channel=wire.Kind.HEIGHT, on=1)
    host.board.write(bytes([0xF0, 0x7A, interval_ms & 0x7F, interval_ms >> 7, 0xF7]))
    host.board.write(b"".join(bytes([0xC0 | channel, 1]) for channel in range(2, 6)))
    host.board.write(b"".join(bytes([0xD0 | port, 1]) for port in range(3)))
    host.run(0.05)
