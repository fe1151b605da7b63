"""Boards ready for a test."""

from typing import NamedTuple

import numpy as np

from rig.board import wire
from rig.board.wire import Op
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.host import Host
from tests.emulator.scripted import Floats, ScriptedConverter, ScriptedJig, ScriptedTower
from tests.virtual.carriage import ScriptedCarriage

CONVERSIONS_HZ = 81.3  # 80 with the error of its own oscillator, in step with nothing of ours
FREE_ANALOG = (4, 5)


class Bench(NamedTuple):
    """A tower that follows a script, the board, and a host that checks all it hears."""

    tower: ScriptedTower
    board: EmulatedBoard
    host: Host


def code_of(n: int) -> int:
    """Code of the scripted converter's conversion `n`: all bits of it move."""
    return (n * 2_654_435_761 & 0xFFFFFF) - (1 << 23)


def swing(t_s: Floats) -> Floats:
    """The scripted arm goes to and fro; share of the supply."""
    return 0.5 + 0.35 * np.sin(3.0 * t_s)


def bench(
    start_s: float = 0.1,
    resonator_error: float = 0.0,
    jig: bool = False,
    carriage: ScriptedCarriage | None = None,
) -> Bench:
    """A board that has booted and said HELLO; with `jig`, converter and arm are fitted."""
    tower = ScriptedTower()
    board = EmulatedBoard(
        build_image(),
        tower,
        jig=ScriptedJig(swing) if jig else None,
        converter=ScriptedConverter(CONVERSIONS_HZ, code_of) if jig else None,
        carriage=carriage,
        resonator_error=resonator_error,
    )
    host = Host(board)
    host.run(start_s)
    return Bench(tower, board, host)


def load_all(host: Host, interval_ms: int = 2) -> None:
    """Every stream on: channels, all ports on change, both analog inputs each `interval_ms`."""
    for channel in wire.CHANNELS:
        host.ask(Op.STREAM, channel=channel, on=1)
    host.board.write(bytes([0xF0, 0x7A, interval_ms & 0x7F, interval_ms >> 7, 0xF7]))
    host.board.write(b"".join(bytes([0xC0 | channel, 1]) for channel in FREE_ANALOG))
    host.board.write(b"".join(bytes([0xD0 | port, 1]) for port in range(3)))
    host.run(0.05)


def converter(b: Bench) -> ScriptedConverter:
    """The one that is fitted."""
    fitted = b.board.converter
    assert isinstance(fitted, ScriptedConverter)
    return fitted


def listen(b: Bench, seconds: float) -> None:
    """Let the world go on, and end between two conversions: all that were made have been heard."""
    b.host.run(seconds)
    while converter(b).next_ready_s - b.board.now_s < 1e-3:
        b.host.run(1e-3)
    b.host.run(converter(b).next_ready_s - b.board.now_s - 1e-3)
