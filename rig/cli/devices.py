"""Connect to what the command line asked for: a real port, or the virtual rig."""

import random
import time
from typing import TYPE_CHECKING, Any

from rig.bench import Bench
from rig.board import wire
from rig.errors import RigError
from rig.guide.device import Device

if TYPE_CHECKING:
    from rig.virtual.person import Person
    from rig.virtual.plant import Tower


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


def _real(port: str) -> Device:
    from rig.board import ports

    chosen = port or ports.the_one()
    link = ports.connect(chosen)
    link.stream(wire.Kind.HEIGHT, True)

    def reopen() -> Any:
        again = ports.connect(chosen, time_limit_s=4.0)
        again.stream(wire.Kind.HEIGHT, True)
        return again

    return Device(link, reopen, None, "port")


def virtual_device(
    bench: Bench, seed: int | None, paced: bool = False
) -> tuple[Device, "Tower", "Person"]:
    """The virtual rig: device, its tower (with the truth) and its person.

    The tower's true values are drawn from what the bench states and how sure it is of it.
    """
    from rig.board.link import Link
    from rig.virtual.draw import Nominal, draw_truth
    from rig.virtual.parameters import TowerTruth
    from rig.virtual.person import Person
    from rig.virtual.plant import Tower
    from rig.virtual.standin import StandIn

    # Without a seed every start is another rig and another boot of its board.
    drawn = time.time_ns() if seed is None else seed
    stated = bench.tower
    belief = TowerTruth(
        mass_kg=stated.carriage.mass_kg,
        pitch_m=stated.wire.count_m,
        drum_kg=stated.wire.drum_mass_kg,
        flag_m=stated.gate.flag_m,
        gate_m=stated.gate.above_contact_m,
    )
    nominal = Nominal(
        belief=belief,
        u_mass_kg=stated.carriage.u_mass_kg,
        u_scale=stated.wire.u_count_relative,
        u_flag_m=stated.gate.u_flag_m,
        u_gate_m=stated.gate.u_above_contact_m,
        u_drum_kg=stated.wire.u_drum_mass_kg,
        u_contact_m=stated.contact.u_contact_m,
    )
    tower = Tower(draw_truth(random.Random(drawn), nominal), seed=drawn)
    board = StandIn(tower, boot=drawn % (1 << wire.SEQ_BITS), seed=drawn)
    clock = _Paced(board.clock) if paced else board.clock

    def connect() -> Link:
        board.reopen()
        link = Link(board, clock=clock, name="virtual rig")
        link.stream(wire.Kind.HEIGHT, True)
        return link

    person = Person(tower, drawn)
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
