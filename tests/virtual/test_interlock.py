"""The interlock's promises, whatever host, hands and encoder do."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.board.wire import LIMITS, Reason, State
from rig.virtual.board.interlock import Interlock, difference

NONCE = 77


class Bench:
    """An interlock with its inputs, ticked in bursts."""

    def __init__(self) -> None:
        self.lock = Interlock()
        self.guard = self.estop = True
        self.button = False
        self.position = 1000
        self.beating = True

    def pass_ms(self, ms: int) -> None:
        for _ in range(ms):
            if self.beating:
                self.lock.beat()
            self.lock.tick(self.guard, self.estop, self.button, self.position)


def ready() -> Bench:
    bench = Bench()
    bench.pass_ms(LIMITS["STEADY_MS"] + 1)
    return bench


def armed() -> Bench:
    bench = ready()
    assert bench.lock.arm(900, 1100, NONCE) == (Reason.NONE, NONCE)
    return bench


def permitted() -> Bench:
    bench = armed()
    assert bench.lock.permit(NONCE) == (Reason.NONE, 0)
    return bench


def releasing() -> Bench:
    bench = permitted()
    bench.button = True
    bench.pass_ms(LIMITS["BUTTON_DEBOUNCE_MS"])
    assert bench.lock.state is State.RELEASING
    return bench


def flying() -> Bench:
    bench = releasing()
    bench.pass_ms(LIMITS["CATCH_LEAD_MS"])
    bench.position -= LIMITS["DROPPED_COUNTS"]
    bench.pass_ms(1)
    assert bench.lock.state is State.FLIGHT
    return bench


def test_the_latch_opens_only_after_the_catch_has_had_its_lead() -> None:
    bench = releasing()
    assert bench.lock.catch and not bench.lock.latch
    bench.pass_ms(LIMITS["CATCH_LEAD_MS"] - 1)
    assert not bench.lock.latch
    bench.pass_ms(1)
    assert bench.lock.latch


def test_the_catch_closes_on_the_first_count_upward() -> None:
    bench = flying()
    for step in (-30, -30, -5, 0):
        bench.position += step
        bench.pass_ms(1)
        assert bench.lock.catch
    bench.position += 1
    bench.pass_ms(1)
    assert not bench.lock.catch
    assert (bench.lock.state, bench.lock.reason) == (State.HELD, Reason.REVERSED)


def test_a_latch_that_does_not_let_go_is_given_up() -> None:
    bench = releasing()
    bench.pass_ms(LIMITS["CATCH_LEAD_MS"] + LIMITS["LATCH_LIMIT_MS"])
    assert (bench.lock.state, bench.lock.reason) == (State.HELD, Reason.NO_RELEASE)
    assert not bench.lock.latch and not bench.lock.catch


def test_a_count_that_rises_at_the_release_trips() -> None:
    bench = releasing()
    bench.position += LIMITS["DROPPED_COUNTS"]
    bench.pass_ms(1)
    assert (bench.lock.state, bench.lock.reason) == (State.TRIPPED, Reason.ENCODER_BACKWARDS)


@pytest.mark.parametrize("stage", [armed, permitted, releasing, flying])
def test_silence_of_the_host_trips_at_its_limit(stage: Callable[[], Bench]) -> None:
    bench = stage()
    bench.beating = False
    bench.lock.beat()
    still_on = [bench.lock.state]
    while bench.lock.beat_age < LIMITS["BEAT_LIMIT_MS"]:
        if bench.lock.state is State.RELEASING:  # keep it falling, or it gives up first
            bench.position -= LIMITS["DROPPED_COUNTS"]
        bench.pass_ms(1)
        still_on.append(bench.lock.state)
    assert State.TRIPPED not in still_on
    bench.pass_ms(1)
    assert (bench.lock.state, bench.lock.reason) == (State.TRIPPED, Reason.BEAT_LOST)


@pytest.mark.parametrize("stage", [armed, permitted, releasing, flying])
@pytest.mark.parametrize("reason", [Reason.GUARD_OPEN, Reason.ESTOP_OPEN])
def test_an_open_loop_drops_both_solenoids_between_ticks(
    stage: Callable[[], Bench], reason: Reason
) -> None:
    lock = stage().lock
    lock.loop_open(reason)
    assert not lock.latch and not lock.catch
    assert (lock.state, lock.reason) == (State.TRIPPED, reason)


def test_opening_the_guard_while_held_is_normal() -> None:
    bench = ready()
    bench.lock.loop_open(Reason.GUARD_OPEN)
    bench.guard = False
    bench.pass_ms(10)
    assert bench.lock.state is State.HELD


def test_a_trip_is_cleared_only_after_the_guard_was_opened_and_closed() -> None:
    bench = armed()
    bench.estop = False
    bench.pass_ms(1)
    bench.estop = True
    bench.pass_ms(1)
    assert bench.lock.clear() == (Reason.GUARD_NOT_CYCLED, 1 << Reason.GUARD_NOT_CYCLED)
    bench.guard = False
    bench.pass_ms(1)
    assert bench.lock.clear() == (Reason.GUARD_OPEN, 1 << Reason.GUARD_OPEN)
    bench.guard = True
    bench.pass_ms(1)
    assert bench.lock.clear() == (Reason.NONE, 0)
    assert bench.lock.state is State.HELD


def test_a_refused_arm_names_every_unmet_condition() -> None:
    bench = Bench()
    bench.guard, bench.button, bench.beating = False, True, False
    bench.pass_ms(1)
    unmet = [Reason.GUARD_OPEN, Reason.BEAT_LOST, Reason.OUTSIDE_WINDOW]
    unmet += [Reason.NOT_STEADY, Reason.BUTTON_HELD]
    assert bench.lock.arm(0, 10, NONCE) == (Reason.GUARD_OPEN, sum(1 << r for r in unmet))


def test_a_wrong_nonce_disarms() -> None:
    bench = armed()
    assert bench.lock.permit(NONCE + 1)[0] is Reason.WRONG_NONCE
    assert bench.lock.state is State.HELD
    assert bench.lock.permit(NONCE)[0] is Reason.NOT_ARMED


def test_arming_and_permit_run_out() -> None:
    bench = armed()
    bench.pass_ms(LIMITS["ARM_LIMIT_MS"])
    assert bench.lock.reason is Reason.ARM_EXPIRED
    bench = permitted()
    bench.pass_ms(LIMITS["PERMIT_LIMIT_MS"])
    assert bench.lock.reason is Reason.PERMIT_EXPIRED
    assert bench.lock.permit_left == 0


@given(st.integers(-32768, 32767), st.integers(-32768, 32767))
def test_differences_of_counts_wrap_like_the_counter(a: int, d: int) -> None:
    assert difference((a + d + 0x8000 & 0xFFFF) - 0x8000, a) == d


ACTIONS = st.one_of(
    st.tuples(st.just("ms"), st.integers(1, 300)),
    st.tuples(st.sampled_from(["guard", "estop", "button", "beating"]), st.booleans()),
    st.tuples(st.just("move"), st.integers(-200, 200)),
    st.tuples(st.sampled_from(["arm", "permit", "disarm", "clear", "guard_edge", "estop_edge"])),
)


@given(
    st.sampled_from([Bench, ready, armed, permitted, releasing, flying]),
    st.lists(ACTIONS, max_size=40),
)
def test_nothing_energises_a_solenoid_outside_a_permitted_release(
    start: Callable[[], Bench], actions: list[tuple[str, int] | tuple[str]]
) -> None:
    bench = start()
    lock = bench.lock
    for name, *value in actions:
        before = lock.state
        if name == "ms":
            bench.pass_ms(value[0])
        elif name == "move":
            bench.position += value[0]
        elif name in ("guard", "estop", "button", "beating"):
            setattr(bench, name, bool(value[0]))
        elif name == "arm":
            lock.arm(bench.position - 100, bench.position + 100, NONCE)
        elif name == "permit":
            lock.permit(NONCE)
        elif name.endswith("_edge"):
            lock.loop_open(Reason[f"{name.removesuffix('_edge').upper()}_OPEN"])
        else:
            getattr(lock, name)()
        if lock.latch or lock.catch:
            assert lock.state in (State.RELEASING, State.FLIGHT)
            assert lock.guard and lock.estop
            assert lock.beat_age <= LIMITS["BEAT_LIMIT_MS"]
        if lock.latch:
            assert lock.state is State.RELEASING
        if lock.state is State.RELEASING and before not in (State.RELEASING, State.PERMITTED):
            raise AssertionError(f"released from {before!r}")
        if before is State.TRIPPED and lock.state is not State.TRIPPED:
            assert name == "clear"


@given(st.booleans(), st.booleans(), st.integers(0, 700), st.integers(1, 700))
def test_skipping_idle_milliseconds_equals_ticking_them(
    tripped: bool, button: bool, first: int, many: int
) -> None:
    one, other = ready(), ready()
    for bench, skip in ((one, False), (other, True)):
        if tripped:
            bench.lock.trip(Reason.WATCHDOG)
        bench.button, bench.beating = button, False
        bench.pass_ms(first + 1)
        assert bench.lock.settled
        bench.lock.idle(many) if skip else bench.pass_ms(many)
    assert vars(one.lock) == vars(other.lock)
