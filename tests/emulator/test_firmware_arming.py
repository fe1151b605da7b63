"""The real image: what arming asks for, how long it lasts, and what a trip asks for."""

from collections.abc import Callable

import pytest

from rig.board.wire import LIMITS, Op, Reason, State
from tests.emulator.bench import Bench, bench
from tests.emulator.host import arm


def test_a_nonce_answers_one_arm_only() -> None:
    b = bench()
    first = arm(b.host)
    b.host.ask(Op.DISARM)
    second = arm(b.host)
    assert 0 < first < 1 << 28 and 0 < second < 1 << 28 and first != second
    assert b.host.ask(Op.PERMIT, nonce=first)["reason"] == Reason.WRONG_NONCE
    assert b.host.states()[-1] == (State.HELD, Reason.WRONG_NONCE)
    assert b.host.ask(Op.PERMIT, nonce=second)["reason"] == Reason.NOT_ARMED
    assert not any(c.on for c in b.board.outputs if c.name != "LAMP")


def test_a_nonce_of_the_boot_before_is_worth_nothing() -> None:
    b = bench()
    old = arm(b.host)
    b.board.reset()
    b.host.run(0.2)
    fresh = arm(b.host)
    assert fresh != old
    assert b.host.ask(Op.PERMIT, nonce=old)["reason"] == Reason.WRONG_NONCE


@pytest.mark.parametrize(
    ("permitted", "limit", "reason"),
    [
        (False, "ARM_LIMIT_MS", Reason.ARM_EXPIRED),
        (True, "PERMIT_LIMIT_MS", Reason.PERMIT_EXPIRED),
    ],
)
def test_arming_and_permit_expire(permitted: bool, limit: str, reason: Reason) -> None:
    b = bench()
    nonce = arm(b.host)
    if permitted:
        b.host.ask(Op.PERMIT, nonce=nonce)
    b.host.run(LIMITS[limit] / 1e3 - 0.1)
    assert b.host.status()["state"] in (State.ARMED, State.PERMITTED)
    b.host.run(0.3)
    assert b.host.states()[-1] == (State.HELD, reason)
    b.tower.edge(b.board.now_s + 0.01, "BUTTON", 0)
    b.host.run(0.3)
    assert not any(c.on for c in b.board.outputs if c.name != "LAMP")


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda b: b.tower.edge(b.board.now_s, "GUARD", 1), Reason.GUARD_OPEN),
        (lambda b: b.tower.edge(b.board.now_s, "BUTTON", 0), Reason.BUTTON_HELD),
        (lambda b: b.tower.counts(b.board.now_s, 1e-3, 5), Reason.NOT_STEADY),
        (lambda b: b.tower.counts(b.board.now_s, 1e-4, 500), Reason.OUTSIDE_WINDOW),
    ],
)
def test_arming_is_refused_with_its_reason(make: Callable[[Bench], object], reason: Reason) -> None:
    b = bench()
    b.host.beating = True
    b.host.run(0.8)
    make(b)
    b.host.run(0.1)
    reply = b.host.ask(Op.ARM, low=-20, high=20)
    assert reply["reason"] == reason
    assert reply["value"] & 1 << reason
    assert b.board.outputs == []


def test_without_beats_nothing_is_armed() -> None:
    b = bench()
    b.host.run(1.0)
    assert b.host.ask(Op.ARM, low=-20, high=20)["reason"] == Reason.BEAT_LOST


def test_after_a_trip_the_guard_must_be_cycled_before_it_clears() -> None:
    b = bench()
    b.host.beating = True
    b.tower.edge(b.board.now_s + 0.01, "ESTOP", 1)
    b.tower.edge(b.board.now_s + 0.11, "ESTOP", 0)
    b.host.run(0.3)
    assert b.host.ask(Op.CLEAR)["reason"] == Reason.GUARD_NOT_CYCLED
    b.tower.edge(b.board.now_s + 0.01, "GUARD", 1)
    b.tower.edge(b.board.now_s + 0.21, "GUARD", 0)
    b.host.run(0.1)
    assert b.host.ask(Op.CLEAR)["reason"] == Reason.GUARD_OPEN
    b.host.run(0.3)
    assert b.host.ask(Op.CLEAR)["reason"] == Reason.NONE
    status = b.host.status()
    assert (status["state"], status["reason"]) == (State.HELD, Reason.NONE)


def test_pressing_the_button_without_a_permit_does_nothing() -> None:
    b = bench()
    arm(b.host)
    b.tower.edge(b.board.now_s + 0.01, "BUTTON", 0)
    b.host.run(0.2)
    assert b.host.states()[-1] == (State.HELD, Reason.BUTTON_HELD)
    assert not any(c.on for c in b.board.outputs if c.name != "LAMP")
