"""Connect to what the command line asked for: a real port, or the virtual rig."""

import random
import time
import zlib
from typing import TYPE_CHECKING, Any

from rig.bench import Bench
from rig.board import wire
from rig.errors import RigError
from rig.guide.device import Device

if TYPE_CHECKING:
    from rig.virtual.arm.draw import Made
    from rig.virtual.person import Person
    from rig.virtual.tower.plant import Tower


def open_device(
    port: str | None, *, virtual: bool, bench: Bench, seed: int | None = None, paced: bool = False
) -> Device:
    """A connected device; `paced` makes virtual time run like real time (for a person).

    Raises:
        RigError: both asked for, no board, busy port, other firmware.
    """
    if virtual and port:
        raise RigError("--virtual and --port exclude each other", remedy="give one of them")
    if virtual:
        return virtual_device(bench, seed, paced)[0]
    return _real(port or bench.port)


EMULATED = "emulated"
"""Said among the greetings by what carries an emulated board: a run on it is practice."""


def _real(port: str) -> Device:
    from rig.board import ports
    from rig.board.link import LinkError
    from rig.session import port_choice

    chosen = port or port_choice.chosen()
    try:
        link = ports.connect(chosen)
    except LinkError:
        if not port:
            port_choice.forget()
        raise
    port_choice.remember(chosen)
    link.stream(wire.Kind.HEIGHT, True)

    def reopen() -> Any:
        again = ports.connect(chosen, time_limit_s=4.0)
        again.stream(wire.Kind.HEIGHT, True)
        return again

    return Device(link, reopen, None, "emulated" if EMULATED in link.strings else "port")


def virtual_device(
    bench: Bench, seed: int | None, paced: bool = False, blades: "Made | None" = None
) -> tuple[Device, "Tower", "Person"]:
    """The virtual rig: device, its tower (with the truth), its person (who knows jig and frame).

    `blades` tells of each name how the blade is made; left out, by the name's first letter.

    The true values of tower and jig are drawn from what the bench states and how sure it is.
    """
    from rig.board.link import Link
    from rig.session.virtual_truth import frame_belief, jig_nominal, tower_nominal
    from rig.virtual.arm.draw import draw_jig, group_of
    from rig.virtual.arm.plant import Jig
    from rig.virtual.board.converter import Converter
    from rig.virtual.board.standin import StandIn
    from rig.virtual.frame.plant import CuttingFrame
    from rig.virtual.person import Person
    from rig.virtual.tower.draw import draw_truth
    from rig.virtual.tower.plant import Tower

    # Without a seed a bench has the same rig at every start, so that a practice run is resumed on
    # the rig it was begun on; the boot of its board and all noise are others.
    made = zlib.crc32(bench.name.encode()) if seed is None else seed
    drawn = time.time_ns() if seed is None else seed
    tower = Tower(draw_truth(random.Random(made), tower_nominal(bench)), seed=drawn)
    stated = jig_nominal(bench, tower.nature.gravity)
    jig = Jig(draw_jig(random.Random(f"jig {made}"), stated), seed=drawn)
    frame = CuttingFrame(frame_belief(bench), seed=made)
    # One cell and one converter, mounted where the bench says.
    cell = Converter(frame if bench.cell.mounted == "carriage" else jig, drawn)
    boot = drawn % (1 << wire.SEQ_BITS)
    board = StandIn(tower, jig, cell, boot=boot, seed=drawn, carriage=frame)
    clock = _Paced(board.clock) if paced else board.clock

    def connect() -> Link:
        board.reopen()
        link = Link(board, clock=clock, name="virtual rig")
        link.stream(wire.Kind.HEIGHT, True)
        return link

    preload_nm = bench.pry.pry.preload_nm
    person = Person(tower, made, jig, preload_nm, frame, made=blades or group_of)
    return Device(connect(), connect, person, "virtual"), tower, person


class _Paced:
    """Virtual time that passes no faster than real time, for a person at the screen."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner

    def now(self) -> float:
        """Virtual monotonic seconds."""
        return float(self._inner.now())

    def sleep(self, seconds: float) -> None:
        """Let both times pass."""
        time.sleep(seconds)
        self._inner.sleep(seconds)
