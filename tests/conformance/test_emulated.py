"""The real firmware: the suite for every board, and the jig as the stand-in shows it."""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pytest

from rig.board import conformance, wire
from rig.board.frames import Decoder, Frame
from rig.board.link import Link
from rig.board.samples import trace
from rig.board.wire import Event, Kind, LoadFault, Op
from rig.virtual.arm.plant import Jig
from rig.virtual.board.converter import Converter
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.plant import Tower
from tests.conformance.test_conformance import OF_AN_ARMED_DRIVE
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.virtual.carriage import ScriptedCarriage

MENDED_S = 2.55


def emulated(tower: Tower, jig: Jig | None, converter: Converter | None) -> EmulatedBoard:
    error = tower.nature.resonator
    return EmulatedBoard(build_image(), tower, jig=jig, converter=converter, resonator_error=error)


@pytest.mark.parametrize("rate_hz", [None, 80.0, 10.0])
def test_the_firmware_passes_every_check(rate_hz: float | None) -> None:
    jig = Jig()
    board = emulated(Tower(), jig, None if rate_hz is None else Converter(jig, rate_hz=rate_hz))
    passes(board)


@pytest.mark.parametrize(("near", "far"), [(0, 1), (1, 1), (1, 0), (0, 0)])
def test_the_firmware_passes_every_check_wherever_the_carriage_is(near: int, far: int) -> None:
    carriage = ScriptedCarriage(levels={"NEAR": near, "FAR": far})
    passes(EmulatedBoard(build_image(), Tower(), carriage=carriage), near=not near, far=not far)
    assert carriage.seen == []


def passes(board: EmulatedBoard, *, near: bool = False, far: bool = False) -> None:
    """All holds; of an armed drive nothing can be seen unless the carriage is home alone."""
    found = list(conformance.run(Link(board, clock=board.clock, name="emulated board")))
    assert len(found) == len(conformance.CHECKS) + 1
    unseen = {} if near and not far else dict.fromkeys(OF_AN_ARMED_DRIVE, not far)
    assert {f.claim: f.holds for f in found if f.trouble} == unseen
    assert all(not f.fitted or f.trouble.startswith("not checked") for f in found if f.trouble)


class Logged(Converter):
    """Remembers every conversion it gave."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        self.given: list[tuple[float, int]] = []
        super().__init__(*arguments, **named)

    def take(self, until_s: float) -> list[tuple[float, int]]:
        """As its base does."""
        fresh = super().take(until_s)
        self.given += fresh
        return fresh


class Session(NamedTuple):
    """A board with a jig at its pins, and all that it said."""

    board: StandIn | EmulatedBoard
    jig: Jig
    converter: Logged
    frames: list[Frame]
    decoder: Decoder

    def run(self, seconds: float) -> None:
        """Let the world go on, listening; heartbeats are of no use here."""
        self.board.run(self.board.now_s + seconds)
        found = self.decoder.feed(self.board.read_available())
        self.frames.extend(item for item in found if isinstance(item, Frame))
        assert (self.decoder.gaps, self.decoder.damaged) == ([], 0)

    def stream(self, *kinds: Kind) -> None:
        """Ask for channels."""
        for kind in kinds:
            self.board.write(wire.command(Op.STREAM, 1, channel=kind, on=1))
        self.run(0.05)

    def fault(self, name: str, on: bool) -> None:
        """Of the converter."""
        self.converter.fault(name, on, self.board.now_s)

    def faults(self) -> list[LoadFault]:
        """What the events told."""
        told = [f.fields() for f in self.frames if f.kind is Kind.EVENT]
        return [LoadFault(values["value"]) for values in told if values["code"] == Event.LOAD]


def session(make: Callable[[Tower, Jig, Converter], StandIn | EmulatedBoard]) -> Session:
    """With the channels of the jig streaming."""
    jig = Jig(seed=3)
    converter = Logged(jig, seed=4)
    begun = Session(make(Tower(seed=2), jig, converter), jig, converter, [], Decoder())
    begun.run(0.5)
    begun.stream(Kind.LOAD, Kind.ANGLE)
    return begun


def both(scene: Callable[[Session], None]) -> tuple[Session, Session]:
    """The scene on the firmware and on the stand-in."""
    ours, theirs = session(emulated), session(StandIn)
    for one in (ours, theirs):
        scene(one)
    return ours, theirs


def hung_weight(s: Session) -> None:
    s.run(1.0)
    s.jig.hang(2.0, "right")
    s.run(8.0)
    s.jig.unhang()
    s.run(8.0)


def swept_arm(s: Session) -> None:
    s.jig.sweep(0.5)
    s.run(14.0)


def at(frames: list[Frame], kind: Kind, seconds: np.ndarray) -> np.ndarray:
    """The channel's values at times of the board, straight between its samples."""
    seen = trace(frames, kind)
    return np.interp(seconds, seen.ticks / wire.TICK_HZ, seen.values)


@pytest.mark.parametrize("scene", [hung_weight, swept_arm])
def test_firmware_and_stand_in_show_the_same_load_and_angle_at_the_same_times(
    scene: Callable[[Session], None],
) -> None:
    ours, theirs = both(scene)
    end_s = ours.board.now_s - 0.2
    seconds = np.arange(0.7, end_s, 0.05)
    codes = at(ours.frames, Kind.LOAD, seconds) - at(theirs.frames, Kind.LOAD, seconds)
    sums = at(ours.frames, Kind.ANGLE, seconds) - at(theirs.frames, Kind.ANGLE, seconds)
    moved = np.ptp(at(ours.frames, Kind.LOAD, seconds))
    assert moved > 5_000
    # Their conversions fall at other moments and have noise of their own: 90 nV are 39 codes.
    assert np.median(np.abs(codes)) < 150
    assert np.sqrt(np.mean(codes**2)) < 0.02 * moved
    assert np.median(np.abs(sums)) < 16, "a quarter of a step"
    assert np.abs(sums).max() < 64


@pytest.mark.parametrize(
    ("name", "fault"),
    [("load_missing", LoadFault.MISSING), ("load_stuck_low", LoadFault.STUCK)],
)
def test_firmware_and_stand_in_tell_the_same_of_a_converter_at_fault(
    name: str, fault: LoadFault
) -> None:
    def scene(s: Session) -> None:
        s.run(0.5)
        s.fault(name, True)
        s.run(1.5)
        assert s.board.now_s == pytest.approx(MENDED_S, abs=1e-3)
        s.fault(name, False)
        s.run(1.0)

    ours, theirs = both(scene)
    assert ours.faults() == theirs.faults() == [fault, LoadFault.NONE]
    seen = [trace(s.frames, Kind.LOAD) for s in (ours, theirs)]
    assert seen[0].turns == seen[1].turns
    assert seen[0].turns["faults"] == 1
    for session_, one in zip((ours, theirs), seen, strict=True):
        again = [code for t, code in session_.converter.given if t > MENDED_S]
        told = one.values[one.ticks > MENDED_S * wire.TICK_HZ].tolist()
        assert told == again[1 : 1 + len(told)], "the first after it is not believed"
        assert len(told) > 60


def test_firmware_and_stand_in_say_nothing_of_a_channel_nobody_asks_for() -> None:
    for make in (emulated, StandIn):
        jig = Jig(seed=3)
        quiet = Session(make(Tower(), jig, Logged(jig)), jig, Logged(jig), [], Decoder())
        quiet.run(2.0)
        assert quiet.faults() == []
        assert not [f for f in quiet.frames if f.kind in (Kind.LOAD, Kind.ANGLE)]
