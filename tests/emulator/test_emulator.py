"""The emulated board on the virtual tower: the stand-in's calls, and the stand-in's story."""

import gc
from typing import NamedTuple

import pytest

from rig.board import wire
from rig.board.wire import Event, Kind, Op, Reason, State
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.plant import Tower
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.host import Frame, Host
from tests.emulator.world import EPOCH_S

HEIGHT_M = 0.4


class Drop(NamedTuple):
    """A drop as the host heard it, and as it was."""

    host: Host
    tower: Tower


def drop(board: EmulatedBoard | StandIn, tower: Tower) -> Drop:
    """Raise, arm, permit, press; a person and a host at work."""
    host, hands = Host(board), Hands(tower, seed=3)  # type: ignore[arg-type]
    host.beating = True
    host.run(0.3)
    host.ask(Op.STREAM, channel=Kind.HEIGHT, on=1)
    host.run(hands.lower_to_contact() - board.now_s + 0.2)
    host.run(hands.raise_to(HEIGHT_M) - board.now_s + 0.8)
    here = host.status()["height"]
    armed = host.ask(Op.ARM, low=here - 20, high=here + 20)
    assert host.ask(Op.PERMIT, nonce=armed["value"])["reason"] == Reason.NONE
    host.run(hands.press_button() - board.now_s + 1.5)
    return Drop(host, tower)


def emulated() -> EmulatedBoard:
    tower = Tower(seed=5)
    return EmulatedBoard(build_image(), tower, resonator_error=tower.nature.resonator)


def story(frames: list[Frame]) -> list[tuple[int, int, int]]:
    """Events in order of time; those of one instant in order of code."""
    events = [f for f in frames if f.kind is Kind.EVENT]
    told = [(f.time, f.values["code"], f.values["value"], f.values["extra"]) for f in events]
    return [(code, value, extra) for _, code, value, extra in sorted(told)]


@pytest.fixture(scope="module")
def real() -> Drop:
    board = emulated()
    tower = board.tower
    assert isinstance(tower, Tower)
    return drop(board, tower)


def test_a_drop_on_the_virtual_tower_strikes_once_and_is_caught(real: Drop) -> None:
    host, tower = real
    assert [s for s, _ in host.states()] == [
        State.ARMED,
        State.PERMITTED,
        State.RELEASING,
        State.FLIGHT,
        State.HELD,
    ]
    assert host.states()[-1][1] is Reason.REVERSED
    (truth,) = tower.truth
    assert len(truth.strikes) == 1 and truth.caught
    assert host.gaps == 0
    assert host.status()["illegal_edges"] == 0


def test_the_height_stream_shows_the_height_of_the_drop(real: Drop) -> None:
    samples = real.host.height_samples()
    top = max(samples)
    resting = min(samples[: samples.index(top)])
    assert (top - resting) * 0.25e-3 == pytest.approx(HEIGHT_M, abs=1e-3)


def test_the_gate_is_passed_going_down_before_the_strike(real: Drop) -> None:
    host, tower = real
    (truth,) = tower.truth
    gate = [f for f in host.of(Kind.EVENT) if f.values["code"] == Event.GATE]
    falling = gate[-4:-2] if len(gate) >= 4 else gate[-2:]
    flight_s = (falling[1].time - falling[0].time) / wire.TICK_HZ
    speed = tower.nature.flag_m / flight_s
    assert speed == pytest.approx(truth.strikes[0].speed, rel=0.05)


def test_the_stand_in_tells_the_same_story_as_the_firmware(real: Drop) -> None:
    tower = Tower(seed=5)
    twin = drop(StandIn(tower), tower)
    assert story(twin.host.frames) == story(real.host.frames)
    ours, theirs = real.host.height_samples(), twin.host.height_samples()
    assert max(ours) - min(ours) == pytest.approx(max(theirs) - min(theirs), abs=2)
    assert tower.truth[0].strikes[0].speed == pytest.approx(
        real.tower.truth[0].strikes[0].speed, rel=1e-3
    )


def test_the_clock_moves_the_world_and_nothing_else_does() -> None:
    board = emulated()
    assert board.clock.now() == EPOCH_S
    board.clock.sleep(0.25)
    assert board.clock.now() == pytest.approx(EPOCH_S + 0.25)
    assert board.tower.now_s == pytest.approx(0.25)
    waiting = board.in_waiting
    assert waiting == board.inWaiting() > 0
    assert len(board.read_available()) == waiting
    assert board.in_waiting == 0
    assert board.clock.now() == pytest.approx(EPOCH_S + 0.25)


def test_read_waits_for_its_bytes_and_gives_up_after_a_second() -> None:
    board = emulated()
    assert board.read(3) == bytes([0xF9, *wire.FIRMATA_VERSION])
    board.silence(True)
    board.read_available()
    before = board.now_s
    assert board.read() == b""
    assert board.now_s - before == pytest.approx(1.0, abs=0.01)


def test_a_silenced_line_passes_nothing_either_way_while_the_board_runs_on() -> None:
    board = emulated()
    host = Host(board)
    host.run(0.2)
    board.silence(True)
    board.write(wire.command(Op.HELLO, 1))
    board.clock.sleep(1.0)
    assert board.read_available() == b""
    board.silence(False)
    host.run(0.3)
    assert host.gaps > 5, "frames went by unheard"
    assert not [f for f in host.frames if f.kind is Kind.REPLY]


def test_a_closed_port_raises_and_opening_it_again_resets_the_board() -> None:
    board = emulated()
    board.clock.sleep(0.2)
    board.close()
    with pytest.raises(OSError, match="closed"):
        board.read_available()
    board.reopen()
    host = Host(board)
    host.run(0.2)
    assert (host.hello()["boot"], host.hello()["reset_cause"]) == (1, 2)


def test_a_finaliser_may_still_talk_to_the_board() -> None:
    class Farewell:
        def __init__(self, board: EmulatedBoard) -> None:
            self.board, self.itself = board, self

        def __del__(self) -> None:
            said.append(self.board.write(b"\xff"))

    said: list[int] = []
    Farewell(emulated())
    gc.collect()
    assert said == [1]
