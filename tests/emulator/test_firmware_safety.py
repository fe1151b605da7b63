"""The real image in charge of the outputs: what energises them, and all that must not.

Times are virtual and repeat to the cycle, so they are asserted. The bound of 200 us from an opening
contact to a dropped pin, 2 ms from reversal to catch and 600 ms from silence to dead outputs are
this project's own requirements.
"""

import pytest

from rig.board import wire
from rig.board.wire import LIMITS, Op, Reason, State
from tests.emulator.bench import Bench, bench, load_all
from tests.emulator.host import STEP_S, arm, fall, release

TCCR2B = 0xB1
STATUS_ALL_OFF = 0


def off_after(b: Bench, name: str, since_s: float) -> float:
    """Seconds from `since_s` to the first moment `name` went off."""
    off = (c.t_s for c in b.board.outputs if c.name == name and not c.on and c.t_s >= since_s)
    return next(off) - since_s


def all_off(b: Bench) -> bool:
    """Latch and catch are off, for the chip and for the plant."""
    last = {name: on for name, on, _ in b.tower.seen}
    return not any(b.board.on(name) or last.get(name) for name in ("LATCH", "CATCH"))


def test_a_whole_release_goes_through_its_states_and_ends_at_the_reversal() -> None:
    b = bench()
    latched = release(b.host, b.tower)
    fall(b.host, b.tower)
    turned = b.board.now_s + 0.05
    b.tower.counts(turned, 200e-6, 40)
    b.host.run(0.1)
    assert b.host.states() == [
        (State.ARMED, Reason.NONE),
        (State.PERMITTED, Reason.NONE),
        (State.RELEASING, Reason.RELEASED),
        (State.FLIGHT, Reason.RELEASED),
        (State.HELD, Reason.REVERSED),
    ]
    catch = next(c.t_s for c in b.board.outputs if c.name == "CATCH" and c.on)
    assert latched - catch == pytest.approx(LIMITS["CATCH_LEAD_MS"] / 1e3, abs=1e-3)
    assert off_after(b, "CATCH", turned) <= 2e-3
    assert all_off(b)
    assert b.host.gaps == 0


@pytest.mark.parametrize("phase", [0.0, 0.21e-3, 0.43e-3, 0.5e-3, 0.77e-3, 0.99e-3])
def test_the_catch_is_commanded_within_two_milliseconds_of_the_reversal(phase: float) -> None:
    b = bench()
    load_all(b.host)
    release(b.host, b.tower)
    fall(b.host, b.tower, period_s=62.5e-6)
    turned = b.board.now_s + 0.02 + phase
    b.tower.counts(turned, 62.5e-6, 200)
    b.host.run(0.05)
    assert off_after(b, "CATCH", turned) <= 2e-3


@pytest.mark.parametrize(
    ("loop", "reason"), [("GUARD", Reason.GUARD_OPEN), ("ESTOP", Reason.ESTOP_OPEN)]
)
@pytest.mark.parametrize("in_flight", [False, True])
@pytest.mark.parametrize("phase", [0.0, 0.13e-3, 0.37e-3, 0.5e-3, 0.61e-3, 0.88e-3])
def test_an_opening_loop_drops_the_outputs_within_200_microseconds(
    loop: str, reason: Reason, in_flight: bool, phase: float
) -> None:
    b = bench()
    load_all(b.host)
    release(b.host, b.tower)
    if in_flight:
        fall(b.host, b.tower)
    opened = b.board.now_s + 0.005 + phase
    b.tower.counts(opened - 4e-3, 62.5e-6, -70)  # falling at 4 m/s, not yet DROPPED_COUNTS
    b.tower.edge(opened, loop, 1)
    b.host.run(0.05)
    assert off_after(b, "CATCH", opened) <= 200e-6
    if not in_flight:
        assert off_after(b, "LATCH", opened) <= 200e-6
    assert b.host.states()[-1] == (State.TRIPPED, reason)
    assert all_off(b)
    assert b.host.gaps == 0


def test_a_loop_open_for_ten_microseconds_is_enough() -> None:
    b = bench()
    release(b.host, b.tower)
    opened = b.board.now_s + 0.0052
    b.tower.edge(opened, "GUARD", 1)
    b.tower.edge(opened + 10e-6, "GUARD", 0)
    b.host.run(0.3)
    assert all_off(b)
    assert b.host.states()[-1] == (State.TRIPPED, Reason.GUARD_OPEN)


@pytest.mark.parametrize("in_flight", [False, True])
def test_a_silent_host_loses_the_outputs_within_600_milliseconds(in_flight: bool) -> None:
    b = bench()
    reply = b.host.ask(Op.PERMIT, nonce=arm(b.host))
    assert reply["reason"] == Reason.NONE
    b.host.beating = False
    b.host.ask(Op.BEAT)
    silent = b.board.now_s
    b.tower.edge(silent + 0.25, "BUTTON", 0)
    if in_flight:
        b.tower.counts(silent + 0.36, 500e-6, -1_000)
    b.host.run(0.45)
    assert b.board.on("CATCH") and b.board.on("LATCH") is not in_flight
    b.host.run(0.5)
    assert all_off(b)
    limit = LIMITS["BEAT_LIMIT_MS"] / 1e3
    assert limit - 0.01 <= off_after(b, "CATCH", silent + 0.4) + 0.4 <= 0.6
    assert b.host.states()[-1] == (State.TRIPPED, Reason.BEAT_LOST)


def test_a_latch_that_does_not_let_go_is_given_up() -> None:
    b = bench()
    on = release(b.host, b.tower)
    b.host.run(0.5)
    assert all_off(b)
    assert off_after(b, "LATCH", on) == pytest.approx(LIMITS["LATCH_LIMIT_MS"] / 1e3, abs=2e-3)
    assert b.host.states()[-1] == (State.HELD, Reason.NO_RELEASE)


def test_a_fall_without_end_is_given_up() -> None:
    b = bench()
    release(b.host, b.tower)
    fall(b.host, b.tower)
    b.host.run(LIMITS["FLIGHT_LIMIT_MS"] / 1e3 + 0.1)
    assert all_off(b)
    assert b.host.states()[-1] == (State.HELD, Reason.FLIGHT_TIMEOUT)


def test_an_encoder_wired_backwards_trips_at_the_release() -> None:
    b = bench()
    release(b.host, b.tower)
    b.tower.counts(b.board.now_s + 0.01, 150e-6, 200)
    b.host.run(0.1)
    assert all_off(b)
    assert b.host.states()[-1] == (State.TRIPPED, Reason.ENCODER_BACKWARDS)


def test_a_count_that_passes_the_sixteen_bits_is_still_a_fall() -> None:
    b = bench()
    b.host.run(b.tower.counts(b.board.now_s, 31.25e-6, -32_700) - b.board.now_s + STEP_S)
    release(b.host, b.tower)
    fall(b.host, b.tower)
    assert b.host.status()["height"] == -32_700 - 400 + (1 << 16)


def watchdog_trip(b: Bench, since_s: float) -> None:
    """All off within the watchdog's time, and the new boot says why."""
    b.host.run(0.6)
    assert all_off(b)
    assert off_after(b, "CATCH", since_s) <= LIMITS["WATCHDOG_MS"] / 1e3 * 1.05
    assert b.host.hello()["reset_cause"] & 8
    status = b.host.status()
    assert (status["state"], status["reason"]) == (State.TRIPPED, Reason.WATCHDOG)
    assert status["outputs"] & 0b011 == STATUS_ALL_OFF


def test_a_stopped_millisecond_timer_is_ended_by_the_watchdog() -> None:
    b = bench()
    release(b.host, b.tower)
    b.host.beating = False  # no answer is under way when the watchdog cuts it
    stopped = b.board.now_s
    b.board.chip.poke(TCCR2B, 0)
    b.host.run(0.1)
    assert b.board.on("LATCH"), "nothing is left that could end it but the watchdog"
    watchdog_trip(b, stopped)


def test_a_hung_main_loop_is_ended_by_the_watchdog_though_interrupts_live() -> None:
    b = bench()
    release(b.host, b.tower)
    fall(b.host, b.tower)
    b.tower.counts(b.board.now_s, 500e-6, -2_000)
    hung = b.board.now_s
    b.board.hang()
    b.host.run(0.1)
    assert b.board.on("CATCH")
    watchdog_trip(b, hung)
    assert b.board.counters().resets == 1


@pytest.mark.parametrize("fault", ["reset", "power_off", "unplug"])
def test_reset_and_loss_of_power_drop_the_outputs_and_forget_the_arming(fault: str) -> None:
    b = bench()
    release(b.host, b.tower)
    at = b.board.now_s
    getattr(b.board, fault)()
    assert off_after(b, "LATCH", at) == pytest.approx(0.0, abs=1e-6)
    assert all_off(b)
    b.board.clock.sleep(0.5)
    if fault == "unplug":
        with pytest.raises(OSError, match="unplugged"):
            b.board.write(b"\xf9")
        b.board.plug()
    b.board.power_on()
    b.host.run(0.3)
    status = b.host.status()
    assert (status["state"], status["reason"]) == (State.HELD, Reason.NONE)
    assert not any(c.on for c in b.board.outputs if c.t_s > at)


def test_outputs_are_low_through_every_boot() -> None:
    b = bench()
    for _ in range(3):
        b.board.reset()
        b.host.run(0.2)
        b.board.power_off()
        b.host.run(0.2)
        b.board.power_on()
        b.host.run(0.2)
    assert b.board.outputs == []


def test_the_wire_tells_every_change_of_the_outputs() -> None:
    b = bench()
    release(b.host, b.tower)
    fall(b.host, b.tower)
    b.tower.counts(b.board.now_s + 0.01, 200e-6, 40)
    b.host.run(0.1)
    told = [
        (frame.values["value"], frame.values["extra"], frame.time)
        for frame in b.host.frames
        if frame.values.get("code") == wire.Event.OUTPUT
    ]
    names = {wire.Output.LATCH: "LATCH", wire.Output.CATCH: "CATCH"}
    seen = [c for c in b.board.outputs if c.name in names.values()]
    assert sorted((names[wire.Output(v)], bool(on)) for v, on, _ in told) == sorted(
        (c.name, c.on) for c in seen
    )
    ticks = sorted(time for _, _, time in told)
    assert len(ticks) == len(seen)
    for tick, change in zip(ticks, sorted(seen, key=lambda c: c.t_s), strict=True):
        assert tick / wire.TICK_HZ == pytest.approx(change.t_s, abs=1e-3)
