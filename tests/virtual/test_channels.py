"""The stand-in's load and angle channels, told as the firmware tells them."""

import itertools
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest

from rig.board import wire
from rig.board.samples import Capture, capture
from rig.board.wire import LIMITS, Event, Kind, LoadFault, Op, Output, Reason, State
from rig.virtual.arm.plant import Jig
from rig.virtual.board.converter import Converter
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.parameters import TowerTruth
from rig.virtual.tower.plant import Tower
from tests.virtual.worlds import Rig, heard, of_kind

CHANNELS = (Kind.HEIGHT, Kind.LOAD, Kind.ANGLE)
SILENT_S = LIMITS["LOAD_SILENT_MS"] / 1e3


def ask(board: StandIn, kind: int, on: int = 1) -> None:
    board.write(wire.command(Op.STREAM, 0, channel=kind, on=on))


def streaming(
    *kinds: Kind, jig: Jig | None = None, truth: TowerTruth | None = None, seed: int = 3
) -> StandIn:
    """A board that has just been asked for these channels; its greeting is taken off."""
    board = StandIn(Tower(truth), jig if jig is not None else Jig(seed=seed), seed=seed)
    board.clock.sleep(0.0205)
    board.read_available()
    for kind in kinds:
        ask(board, kind)
    return board


def captured(board: StandIn, seconds: float) -> Capture:
    board.clock.sleep(seconds)
    return capture(board.read_available())


def load_events(seen: Capture) -> list[LoadFault]:
    return [LoadFault(e.value) for e in seen.events if e.code is Event.LOAD]


# -- load


def test_every_conversion_comes_once_with_the_time_of_its_data_ready() -> None:
    board = streaming(Kind.LOAD, truth=replace(TowerTruth(), resonator=-0.003))
    seen = captured(board, 3.0)
    twin_of_it = Converter(Jig(seed=3), 3)
    ready = [t for t, _ in twin_of_it.take(3.1)]
    hz = wire.TICK_HZ * (1 - 0.003)
    wanted = [t * hz for t in ready if t > 0.0215]
    assert seen[Kind.LOAD].ticks.tolist() == pytest.approx(
        wanted[: len(seen[Kind.LOAD].ticks)], abs=1
    )
    assert wanted[len(seen[Kind.LOAD].ticks)] / hz > 3.019
    assert set(seen[Kind.LOAD].turns.values()) == {0}
    assert not load_events(seen) and not seen.gaps


def test_codes_follow_the_weight_on_the_arm() -> None:
    jig = Jig(seed=1)
    board = streaming(Kind.LOAD, jig=jig)
    before = captured(board, 1.0)[Kind.LOAD].values
    jig.hang(2.0, "right")
    after = captured(board, 7.0)[Kind.LOAD].values
    cell = jig.nature.cell
    rise = (after[-20:].mean() - before.mean()) / (256 * 2**23)
    assert rise == pytest.approx(cell.right * jig.nature.hung_nm(2.0), rel=3e-3)


def test_a_conversion_that_waits_as_the_channel_begins_is_thrown_away_unsaid() -> None:
    board = streaming(seed=2)
    board.clock.sleep(600.0)
    board.read_available()
    began = board.now_s
    ask(board, Kind.LOAD)
    seen = captured(board, 0.5)
    assert seen[Kind.LOAD].ticks[0] / wire.TICK_HZ > began
    assert len(seen[Kind.LOAD].ticks) in (38, 39, 40, 41)
    assert set(seen[Kind.LOAD].turns.values()) == {0}


def test_a_silent_converter_is_told_once_at_its_limit_and_its_return_before_its_code() -> None:
    board = streaming(Kind.LOAD)
    captured(board, 1.0)
    last = board.now_s
    board.fault("load_missing")
    seen = captured(board, 2.0)
    assert load_events(seen) == [LoadFault.MISSING]
    at_s = seen.events[0].ticks / wire.TICK_HZ
    assert SILENT_S - 0.014 <= at_s - last <= SILENT_S + 0.002
    board.fault("load_missing", 0)
    frames = heard(board, 1.0)
    told = [f for f in frames if f.kind in (Kind.EVENT, Kind.LOAD)]
    assert told[0].fields()["value"] == LoadFault.NONE
    assert all(f.kind is Kind.LOAD for f in told[1:]) and len(told) > 70
    assert told[1].payload[0] == 1, "one fault counted"


def test_a_line_stuck_low_is_told_at_once_and_its_reading_thrown_away() -> None:
    board = streaming(Kind.LOAD)
    captured(board, 1.0)
    began = board.now_s
    board.fault("load_stuck_low")
    seen = captured(board, 2.1)
    assert load_events(seen) == [LoadFault.STUCK]
    assert seen.events[0].ticks / wire.TICK_HZ - began < 0.002
    assert not len(seen[Kind.LOAD].ticks)
    board.fault("load_stuck_low", 0)
    board.clock.sleep(0.5)
    (first, *_) = of_kind(heard(board, 0.1), Kind.LOAD)
    assert tuple(first.payload[:2]) == (1, 1), "faults, discarded"


def test_a_line_stuck_low_from_the_start_is_told_at_the_limit_and_nothing_discarded() -> None:
    board = streaming()
    board.fault("load_stuck_low")
    board.clock.sleep(1.0)
    board.read_available()
    began = board.now_s
    ask(board, Kind.LOAD)
    seen = captured(board, 1.0)
    assert load_events(seen) == [LoadFault.STUCK]
    assert seen.events[0].ticks / wire.TICK_HZ - began == pytest.approx(SILENT_S, abs=0.003)


def test_without_a_jig_the_converter_is_missing_and_said_so_only_when_asked_for() -> None:
    board = StandIn(Tower())
    seen = captured(board, 2.0)
    assert load_events(seen) == []
    ask(board, Kind.LOAD)
    assert load_events(captured(board, 2.0)) == [LoadFault.MISSING]
    ask(board, Kind.LOAD, 0)
    ask(board, Kind.LOAD)
    assert load_events(captured(board, 2.0)) == [LoadFault.MISSING], "anew each time it begins"
    with pytest.raises(ValueError, match="no converter"):
        board.fault("load_missing")


def test_ten_conversions_a_second_are_no_fault() -> None:
    board = streaming()
    board.fault("load_ten_per_second")
    captured(board, 1.0)
    ask(board, Kind.LOAD)
    seen = captured(board, 5.0)
    assert len(seen[Kind.LOAD].ticks) in range(44, 51)
    assert load_events(seen) == []


@pytest.mark.parametrize("name", ["load_unplugged", "load_reversed"])
def test_a_wiring_fault_of_the_cell_shows_in_the_codes_alone(name: str) -> None:
    jig = Jig(seed=1)
    board = streaming(Kind.LOAD, jig=jig)
    jig.hang(2.0, "right")
    board.clock.sleep(10.0)
    board.read_available()
    board.fault(name)
    seen = captured(board, 6.0)
    assert load_events(seen) == []
    if name == "load_unplugged":
        assert seen[Kind.LOAD].values[-1] == wire.LOAD_LIMITS[1]
    else:
        assert (seen[Kind.LOAD].values < 0).all()


# -- angle


def test_angle_blocks_begin_with_the_next_millisecond_and_follow_every_forty() -> None:
    board = streaming(Kind.ANGLE)
    frames = of_kind(heard(board, 1.0), Kind.ANGLE)
    assert frames[0].ticks % 2000 == 0
    assert 0 < frames[0].ticks / wire.TICK_HZ - 0.0205 < 2.1e-3
    gaps = {b.ticks - a.ticks for a, b in itertools.pairwise(frames)}
    assert gaps == {80_000}
    channel = wire.CHANNELS[Kind.ANGLE]
    size = wire.width(channel.prefix) + channel.block * channel.sample.septets
    assert {len(frame.payload) for frame in frames} == {size}
    assert len(frames) in (24, 25)


def test_angle_sums_follow_the_arm_in_the_boards_own_time() -> None:
    jig = Jig(seed=4)
    resonator = 0.005
    board = streaming(Kind.ANGLE, jig=jig, truth=replace(TowerTruth(), resonator=resonator))
    board.clock.sleep(200.0)  # a whole second apart by now
    board.read_available()
    jig.sweep(0.7)
    angles = captured(board, 20.0)[Kind.ANGLE]
    hz = wire.TICK_HZ * (1 + resonator)
    middle = angles.ticks / hz + 0.0039
    again = Jig(seed=4)
    again.advance(200.0205)
    again.sweep(0.7)
    ratio = again.angle_ratio(middle)
    assert (angles.values / 64 + 0.5) / 1024 == pytest.approx(ratio, abs=6e-4)
    assert np.ptp(angles.values) > 10_000


def test_without_a_jig_the_angle_input_stands_where_the_world_puts_it() -> None:
    board = StandIn(Tower())
    board.analog[2] = 300
    ask(board, Kind.ANGLE)
    assert set(captured(board, 0.5)[Kind.ANGLE].values.tolist()) == {300 * 64}


# -- all


def test_each_channel_comes_and_goes_on_its_own() -> None:
    board = streaming(*CHANNELS)

    def there() -> set[Kind]:
        board.read_available()
        return {frame.kind for frame in heard(board, 0.3)} & set(CHANNELS)

    board.clock.sleep(0.1)
    left = set(CHANNELS)
    assert there() == left
    for kind in (Kind.LOAD, Kind.HEIGHT, Kind.ANGLE):
        ask(board, kind, 0)
        board.clock.sleep(0.05)
        left -= {kind}
        assert there() == left


@pytest.mark.parametrize("kind", [Kind.HEIGHT, Kind.ANGLE])
def test_asking_for_a_channel_that_runs_changes_nothing(kind: Kind) -> None:
    told = []
    for again in (False, True):
        board = streaming(kind)
        for _ in range(10):
            board.clock.sleep(0.0173)
            if again:
                ask(board, kind)
        frames = of_kind(heard(board, 0.3), kind)
        told.append([(frame.ticks, frame.payload) for frame in frames])
    assert told[0] == told[1]


def test_a_reset_of_the_protocol_stops_every_channel() -> None:
    board = streaming(*CHANNELS)
    board.clock.sleep(0.2)
    board.write(bytes([0xFF]))
    board.clock.sleep(0.05)
    board.read_available()
    assert {frame.kind for frame in heard(board, 1.0)} == {Kind.STATUS, Kind.COUNTS}


def test_a_channel_that_does_not_exist_is_refused() -> None:
    board = streaming()
    for channel in (Kind.STATUS, 0x13, 0):
        ask(board, channel)
    replies = of_kind(heard(board, 0.1), Kind.REPLY)
    assert {reply.fields()["reason"] for reply in replies} == {Reason.BAD_COMMAND}
    assert len(replies) == 3


def test_a_restarted_board_has_every_channel_off() -> None:
    board = streaming(*CHANNELS)
    board.clock.sleep(0.3)
    board.fault("reset")
    board.read_available()
    assert not {frame.kind for frame in heard(board, 1.0)} & set(CHANNELS)


def test_the_line_carries_all_channels_without_loss() -> None:
    seen = captured(streaming(*CHANNELS), 10.0)
    assert not seen.gaps
    assert (len(seen[Kind.HEIGHT].ticks), len(seen[Kind.ANGLE].ticks)) == pytest.approx(
        (10_000, 1250), rel=0.01
    )
    assert len(seen[Kind.LOAD].ticks) == pytest.approx(800, rel=0.03)


def test_a_state_is_told_before_the_outputs_it_brings() -> None:
    # As the firmware does (outputs.cpp: tell_changes).
    rig = Rig()
    rig.drop(0.2)
    at: dict[int, list[Iterable[int]]] = {}
    for event in rig.events:
        if event.code in (Event.STATE, Event.OUTPUT):
            at.setdefault(event.ticks, []).append((event.code, event.value))
    together = [told for told in at.values() if len(told) > 1]
    assert [(Event.STATE, State.RELEASING), (Event.OUTPUT, Output.CATCH)] in together
    assert all(told[0][0] is Event.STATE for told in together)  # type: ignore[index]


@pytest.mark.parametrize("opened", [True, False])
def test_a_watchdog_trip_knows_whether_the_guard_stood_open(opened: bool) -> None:
    # safety.cpp: the inputs are read once before the trip, so an open guard counts as opened.
    tower = Tower()
    board, hands = StandIn(tower), Hands(tower)
    if opened:
        hands.open_guard()
    board.clock.sleep(1.0)
    board.fault("hang")
    board.clock.sleep(0.5)
    hands.close_guard()
    board.clock.sleep(1.0)
    board.read_available()
    board.write(wire.command(Op.CLEAR, 1))
    (reply,) = of_kind(heard(board, 0.1), Kind.REPLY)
    wanted = Reason.NONE if opened else Reason.GUARD_NOT_CYCLED
    assert reply.fields()["reason"] == wanted
