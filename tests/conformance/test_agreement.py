"""Stand-in and firmware, given the same commands and hands at the same times, tell the same."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import pytest

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.strokes import Counts, StrokeTold, counts, stroke
from rig.board.wire import DriveState, Event, Kind, Op, Output, Reason, State
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.plant import Tower
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard

HEIGHT_M = 0.25
BEAT_S = 0.1
ANSWER_S = 0.02
TOLERANCE_S = 0.003


class Told(NamedTuple):
    """An event or a reply; `time_s` by the board's own clock."""

    time_s: float
    what: tuple[str, ...]


@dataclass
class Session:
    """A host with a person at a board; everything happens at times the script says."""

    board: StandIn | EmulatedBoard
    hands: Hands
    beating: bool = True
    told: list[Told] = field(default_factory=list)
    height: int = 0
    strokes: list[StrokeTold] = field(default_factory=list)
    counts: Counts | None = None
    _decoder: Decoder = field(default_factory=Decoder)
    _reply: dict[str, int] = field(default_factory=dict)
    _seq: int = 0
    _beat_s: float = 0.0

    def run(self, seconds: float) -> None:
        """Let the world go on, heartbeats going out."""
        end = self.board.now_s + seconds
        while self.board.now_s < end - 1e-9:
            if self.beating and self.board.now_s >= self._beat_s - 1e-9:
                self._beat_s += BEAT_S
                self._send(Op.BEAT)
            self.board.run(min(end, self.board.now_s + 0.01))
            for item in self._decoder.feed(self.board.read_available()):
                if isinstance(item, Frame):
                    self._hear(item)
        assert (self._decoder.gaps, self._decoder.damaged) == ([], 0)

    def until(self, done_s: float, rest_s: float) -> None:
        """Wait for the hands to be done at `done_s`, and a while longer."""
        self.run(done_s - self.board.now_s + rest_s)

    def ask(self, op: Op, **values: int) -> int:
        """Send a command; its reply is told, and its value given."""
        self._send(op, **values)
        self.run(ANSWER_S)
        return self._reply["value"]

    def arm(self) -> int:
        """Ask to be armed at the height told last."""
        return self.ask(Op.ARM, low=self.height - 20, high=self.height + 20)

    def silence(self, seconds: float) -> None:
        """Send no heartbeats for a while."""
        self.beating = False
        self.run(seconds)
        self.beating, self._beat_s = True, self.board.now_s

    def cycle_guard(self) -> None:
        """Open it and close it again."""
        self.hands.open_guard()
        self.until(self.hands.close_guard(), 0.2)

    def _send(self, op: Op, **values: int) -> None:
        self._seq += 1
        self.board.write(wire.command(op, self._seq, **values))

    def _hear(self, frame: Frame) -> None:
        time_s = frame.ticks / wire.TICK_HZ
        if frame.kind is Kind.STATUS:
            self.height = frame.fields()["height"]
        elif frame.kind is Kind.STROKE:
            judged = stroke(frame)
            assert judged is not None
            self.strokes.append(judged)
            self.told.append(Told(time_s, ("STROKE", judged.verdict.name, str(judged.number))))
        elif frame.kind is Kind.COUNTS:
            self.counts = counts(frame)
        elif frame.kind is Kind.REPLY and frame.fields()["op"] != Op.BEAT:
            self._reply = frame.fields()
            told = "REPLY", Op(self._reply["op"]).name, Reason(self._reply["reason"]).name
            self.told.append(Told(time_s, told))
        elif frame.kind is Kind.EVENT:
            self.told.append(Told(time_s, _words(frame.fields())))


def _words(told: dict[str, int]) -> tuple[str, ...]:
    code, value, extra = Event(told["code"]), told["value"], told["extra"]
    if code is Event.STATE:
        return code.name, State(value).name, Reason(extra).name
    if code is Event.DRIVE:
        return code.name, DriveState(value).name, Reason(extra).name
    return (
        (code.name, Output(value).name, str(extra))
        if code is Event.OUTPUT
        else (code.name, str(value))
    )


def refusals(s: Session) -> None:
    s.ask(Op.PERMIT, nonce=5)
    s.ask(Op.CLEAR)
    s.ask(Op.ARM, low=9, high=9)
    s.ask(Op.ARM, low=s.height + 100, high=s.height + 200)
    s.ask(Op.STREAM, channel=Kind.STATUS, on=1)


def wrong_nonce(s: Session) -> None:
    nonce = s.arm()
    s.ask(Op.PERMIT, nonce=nonce ^ 1)
    s.ask(Op.PERMIT, nonce=nonce)


def taken_back(s: Session) -> None:
    s.ask(Op.PERMIT, nonce=s.arm())
    s.ask(Op.DISARM)


def arming_runs_out(s: Session) -> None:
    s.arm()
    s.run(5.2)


def permit_runs_out(s: Session) -> None:
    s.ask(Op.PERMIT, nonce=s.arm())
    s.run(10.2)


def guard_opened(s: Session) -> None:
    s.arm()
    s.until(s.hands.open_guard(), 0.3)
    s.ask(Op.CLEAR)
    s.until(s.hands.close_guard(), 0.3)
    s.arm()
    s.ask(Op.CLEAR)


def silent_host(s: Session) -> None:
    s.arm()
    s.silence(0.8)
    s.ask(Op.CLEAR)
    s.cycle_guard()
    s.ask(Op.CLEAR)


def stopped(s: Session) -> None:
    s.until(s.hands.press_estop(), 0.3)
    s.ask(Op.CLEAR)
    s.until(s.hands.reset_estop(), 0.3)
    s.cycle_guard()
    s.ask(Op.CLEAR)


def button_held(s: Session) -> None:
    s.hands.press_button(0.6)
    s.run(0.5)
    s.arm()
    s.run(1.0)


def moved_away(s: Session) -> None:
    s.arm()
    s.until(s.hands.raise_to(HEIGHT_M + 0.05), 0.8)
    s.until(s.hands.raise_to(HEIGHT_M), 0.8)


def system_reset(s: Session) -> None:
    s.ask(Op.PERMIT, nonce=s.arm())
    s.board.write(b"\xff")
    s.run(0.1)


def dropped(s: Session) -> None:
    s.ask(Op.PERMIT, nonce=s.arm())
    s.until(s.hands.press_button(), 2.0)


SCENES = [
    refusals,
    wrong_nonce,
    taken_back,
    arming_runs_out,
    permit_runs_out,
    guard_opened,
    silent_host,
    stopped,
    button_held,
    moved_away,
    system_reset,
    dropped,
]
# What the scene must contain at least, so that two silent boards do not agree.
LANDMARKS: dict[str, tuple[str, ...]] = {
    "refusals": ("REPLY", "ARM", "OUTSIDE_WINDOW"),
    "wrong_nonce": ("STATE", "HELD", "WRONG_NONCE"),
    "taken_back": ("STATE", "HELD", "HOST_DISARM"),
    "arming_runs_out": ("STATE", "HELD", "ARM_EXPIRED"),
    "permit_runs_out": ("STATE", "HELD", "PERMIT_EXPIRED"),
    "guard_opened": ("STATE", "TRIPPED", "GUARD_OPEN"),
    "silent_host": ("STATE", "TRIPPED", "BEAT_LOST"),
    "stopped": ("STATE", "TRIPPED", "ESTOP_OPEN"),
    "button_held": ("REPLY", "ARM", "BUTTON_HELD"),
    "moved_away": ("STATE", "HELD", "NOT_STEADY"),
    "system_reset": ("STATE", "HELD", "HOST_DISARM"),
    "dropped": ("STATE", "HELD", "REVERSED"),
}


def played(scene: Callable[[Session], None], emulated: bool) -> list[Told]:
    """What a board tells of a scene, played with the carriage at rest on the hook."""
    tower = Tower(seed=2)
    board: StandIn | EmulatedBoard = (
        EmulatedBoard(build_image(), tower, resonator_error=tower.nature.resonator)
        if emulated
        else StandIn(tower)
    )
    session = Session(board, Hands(tower, seed=4))
    session.run(0.5)
    session.until(session.hands.raise_to(HEIGHT_M), 0.8)
    session.told.clear()
    scene(session)
    # Between kinds the two may speak in another order within an instant: kind by kind, as told.
    return sorted(session.told, key=lambda told: told.what[0])


@pytest.mark.parametrize("scene", SCENES)
def test_the_stand_in_tells_of_a_scene_what_the_firmware_tells(
    scene: Callable[[Session], None],
) -> None:
    firmware, twin = played(scene, emulated=True), played(scene, emulated=False)
    assert LANDMARKS[scene.__name__] in [told.what for told in firmware]
    assert [told.what for told in twin] == [told.what for told in firmware]
    # The firmware runs at the resonator's speed and samples half a millisecond apart from its
    # interlock: after a session of 20 s both clocks still agree within a few milliseconds.
    for ours, its in zip(twin, firmware, strict=True):
        assert ours.time_s == pytest.approx(its.time_s, abs=TOLERANCE_S), (ours, its)
