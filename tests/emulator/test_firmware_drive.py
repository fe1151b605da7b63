"""The real image in charge of the drive motor: what starts it, and all that ends it.

Bounds of 5 ms from an opening contact and 600 ms from silence are this project's own requirements.
"""

from collections.abc import Callable

import pytest

from rig.board.wire import LIMITS, DriveState, Op, Reason, State
from tests.emulator import figures
from tests.emulator.bench import Bench, bench, load_all
from tests.emulator.host import arm, arm_drive, start_drive
from tests.virtual.carriage import ScriptedCarriage

OFF = DriveState.OFF


def home() -> Bench:
    """A carriage at home, a host that beats."""
    b = bench(carriage=ScriptedCarriage())
    b.host.beating = True
    b.host.run(0.8)
    return b


def motor(b: Bench) -> ScriptedCarriage:
    carriage = b.board.carriage
    assert isinstance(carriage, ScriptedCarriage)
    return carriage


def running(target: int = 1_000) -> Bench:
    b = home()
    start_drive(b.host, b.tower, target)
    b.host.run(0.3)
    return b


def press(b: Bench, seconds: float = 0.1) -> None:
    at = b.board.now_s + 0.01
    b.tower.edge(at, "BUTTON", 0)
    b.tower.edge(at + seconds, "BUTTON", 1)
    b.host.run(seconds + 0.05)


def turn(b: Bench, pin: str, seconds: float = 0.05) -> None:
    """Open guard or e-stop and close it again."""
    at = b.board.now_s + 0.01
    b.tower.edge(at, pin, 1)
    b.tower.edge(at + seconds, pin, 0)
    b.host.run(seconds + 0.05)


def test_a_whole_run_goes_through_its_states_and_stops_at_its_target_at_home() -> None:
    b = running(target=5)
    b.host.run(5.0)
    assert b.host.drive_states() == [
        (DriveState.ARMED, Reason.NONE),
        (DriveState.PERMITTED, Reason.NONE),
        (DriveState.RUNNING, Reason.RELEASED),
        (OFF, Reason.TARGET),
    ]
    assert [(name, on) for name, on, _ in motor(b).seen] == [("DRIVE", True), ("DRIVE", False)]
    assert len(motor(b).completed) == 5
    totals = b.host.counts()
    assert (totals["counted"], totals["target_left"], totals["switches"]) == (5, 0, 1)
    assert (totals["drive"], totals["drive_reason"]) == (OFF, Reason.TARGET)
    assert b.host.gaps == 0


@pytest.mark.parametrize("pin", ["GUARD", "ESTOP"])
def test_an_opening_loop_stops_the_drive_within_200_microseconds(pin: str) -> None:
    delays = [figures.opening_to_drive_low(pin, k * 1e-3 / 13) for k in range(13)]
    assert min(delays) > 0 and max(delays) <= 200e-6


def test_silence_stops_the_drive_within_600_ms() -> None:
    assert figures.silence_to_drive_off() == pytest.approx(LIMITS["BEAT_LIMIT_MS"] / 1e3, abs=3e-3)


def jam(b: Bench) -> None:
    """The carriage sticks between its ends."""
    carriage = motor(b)
    while carriage.levels() != {"NEAR": 1, "FAR": 1}:
        b.host.run(0.001)
    carriage.jammed = True
    carriage._script.clear()


def hold_far(b: Bench) -> None:
    """Something closes the far switch while the carriage is not there; it jams as well."""
    jam(b)
    motor(b).set("NEAR", 0)
    motor(b).set("FAR", 0, b.board.now_s + 0.02)


def stop_turning(b: Bench) -> None:
    """The carriage stays home with the motor on."""
    carriage = motor(b)
    while carriage.levels()["NEAR"]:
        b.host.run(0.001)
    carriage._script.clear()


ENDINGS: list[tuple[Callable[[Bench], object], float, Reason]] = [
    (lambda b: turn(b, "GUARD", 10e-6), 0.1, Reason.GUARD_OPEN),
    (lambda b: turn(b, "ESTOP", 10e-6), 0.1, Reason.ESTOP_OPEN),
    (lambda b: setattr(b.host, "beating", False), 0.7, Reason.BEAT_LOST),
    (press, 0.1, Reason.STOPPED),
    (lambda b: b.host.ask(Op.DRIVE_STOP), 0.1, Reason.HOST_DISARM),
    (lambda b: b.host.ask(Op.DISARM), 0.1, Reason.HOST_DISARM),
    (lambda b: b.board.write(b"\xff"), 0.1, Reason.HOST_DISARM),
    (jam, 5.2, Reason.STALL),
    (hold_far, 0.3, Reason.SWITCH_FAULT),
    (stop_turning, 5.6, Reason.SWITCH_FAULT),
]


@pytest.mark.parametrize(("end", "limit_s", "reason"), ENDINGS)
def test_every_ending_tells_its_reason_and_nothing_but_all_three_steps_starts_it_again(
    end: Callable[[Bench], object], limit_s: float, reason: Reason
) -> None:
    b = running()
    end(b)
    b.host.run(limit_s)
    assert b.host.drive_states()[-1] == (OFF, reason)
    assert not b.board.on("DRIVE")
    assert b.host.counts()["drive_reason"] == reason
    b.host.beating = True
    turn(b, "GUARD", 0.2)
    press(b, 0.5)
    b.host.ask(Op.CLEAR)
    press(b, 0.5)
    b.host.run(1.0)
    assert [on for _, on, _ in motor(b).seen] == [True, False]


def test_a_run_that_was_stopped_says_what_is_left_and_the_counts_go_on() -> None:
    b = running(target=50)
    b.host.run(2.0)
    b.host.ask(Op.DRIVE_STOP)
    totals = b.host.counts()
    done = len(motor(b).completed)
    assert done >= 2
    assert (totals["counted"], totals["target_left"]) == (done, 50 - done)


def bring_home(b: Bench) -> None:
    """By hand; a stroke that was under way ends partial."""
    motor(b).set("FAR", 1)
    motor(b).set("NEAR", 0, b.board.now_s + 0.05)
    b.host.run(0.2)


def test_after_a_guard_cycle_a_new_arming_permit_and_press_run_it_again() -> None:
    b = running()
    turn(b, "GUARD")
    bring_home(b)
    start_drive(b.host, b.tower, 7)
    assert [on for _, on, _ in motor(b).seen] == [True, False, True]


@pytest.mark.parametrize("fault", ["reset", "power_off", "unplug"])
def test_no_reset_and_no_replug_starts_it(fault: str) -> None:
    b = running()
    b.tower.edge(b.board.now_s + 0.02, "BUTTON", 0)  # and a hand stays on the button
    at = b.board.now_s
    getattr(b.board, fault)()
    off = next(c.t_s for c in b.board.outputs if c.name == "DRIVE" and not c.on)
    assert off - at == pytest.approx(0.0, abs=1e-6)
    b.board.clock.sleep(0.5)
    if fault == "unplug":
        b.board.plug()
    b.board.power_on()
    b.host.run(1.0)
    b.tower.edge(b.board.now_s + 0.01, "BUTTON", 1)
    b.host.run(0.2)
    press(b)
    assert b.host.counts()["drive"] == OFF
    assert not any(c.on for c in b.board.outputs if c.t_s > at)


def test_a_hung_main_loop_is_ended_by_the_watchdog_and_the_drive_with_it() -> None:
    b = running()
    hung = b.board.now_s
    b.board.hang()
    b.host.run(0.6)
    off = next(c.t_s for c in b.board.outputs if c.name == "DRIVE" and not c.on)
    assert off - hung <= LIMITS["WATCHDOG_MS"] / 1e3 * 1.05
    assert b.host.status()["state"] == State.TRIPPED
    assert b.host.ask(Op.DRIVE_ARM, target=5)["reason"] == Reason.TRIPPED


REFUSALS: list[tuple[Callable[[Bench], object], Reason]] = [
    (lambda b: b.tower.edge(b.board.now_s, "GUARD", 1), Reason.GUARD_OPEN),
    (lambda b: b.tower.edge(b.board.now_s, "BUTTON", 0), Reason.BUTTON_HELD),
    (lambda b: motor(b).set("NEAR", 1), Reason.OUTSIDE_WINDOW),
    (lambda b: motor(b).set("FAR", 0), Reason.SWITCH_FAULT),
    (lambda b: turn(b, "ESTOP"), Reason.TRIPPED),
    (lambda b: b.host.ask(Op.PERMIT, nonce=arm(b.host)), Reason.BUSY),
]


@pytest.mark.parametrize(("make", "reason"), REFUSALS)
def test_arming_is_refused_with_its_reason(make: Callable[[Bench], object], reason: Reason) -> None:
    b = home()
    make(b)
    b.host.run(0.1)
    reply = b.host.ask(Op.DRIVE_ARM, target=5)
    assert reply["reason"] == reason
    assert reply["value"] & 1 << reason
    assert motor(b).seen == []
    assert b.host.drive_states() == []


def test_without_beats_or_strokes_to_do_nothing_is_armed() -> None:
    b = bench(carriage=ScriptedCarriage())
    b.host.run(1.0)
    assert b.host.ask(Op.DRIVE_ARM, target=5)["reason"] == Reason.BEAT_LOST
    b.host.beating = True
    b.host.run(0.2)
    assert b.host.ask(Op.DRIVE_ARM, target=0)["reason"] == Reason.BAD_WINDOW


def test_drop_and_drive_refuse_each_other_in_every_state() -> None:
    b = home()

    def drop_refused() -> None:
        reply = b.host.ask(Op.ARM, low=-20, high=20)
        assert (reply["reason"], reply["value"]) == (Reason.BUSY, 1 << Reason.BUSY)

    nonce = arm_drive(b.host, 3)
    drop_refused()
    assert b.host.ask(Op.DRIVE_PERMIT, nonce=nonce)["reason"] == Reason.NONE
    drop_refused()
    press(b)
    assert b.board.on("DRIVE")
    drop_refused()
    b.host.run(4.0)
    assert b.host.drive_states()[-1] == (OFF, Reason.TARGET)
    assert b.host.states() == []
    armed = arm(b.host)
    assert b.host.ask(Op.DRIVE_ARM, target=5)["reason"] == Reason.BUSY
    assert b.host.ask(Op.PERMIT, nonce=armed)["reason"] == Reason.NONE, "the drop goes on"
    assert b.host.ask(Op.DRIVE_ARM, target=5)["reason"] == Reason.BUSY
    press(b)
    assert b.host.states()[-1][0] is State.RELEASING
    assert [on for _, on, _ in motor(b).seen] == [True, False]


def test_a_nonce_answers_one_arming_of_the_drive_and_none_of_the_drop() -> None:
    b = home()
    nonce = arm_drive(b.host, 3)
    assert b.host.ask(Op.PERMIT, nonce=nonce)["reason"] == Reason.NOT_ARMED
    assert b.host.ask(Op.DRIVE_PERMIT, nonce=nonce ^ 1)["reason"] == Reason.WRONG_NONCE
    assert b.host.ask(Op.DRIVE_PERMIT, nonce=nonce)["reason"] == Reason.NOT_ARMED
    assert b.host.drive_states()[-1] == (OFF, Reason.WRONG_NONCE)
    press(b)
    assert motor(b).seen == []


@pytest.mark.parametrize(
    ("permitted", "limit", "reason"),
    [
        (False, "ARM_LIMIT_MS", Reason.ARM_EXPIRED),
        (True, "PERMIT_LIMIT_MS", Reason.PERMIT_EXPIRED),
    ],
)
def test_arming_and_permit_run_out(permitted: bool, limit: str, reason: Reason) -> None:
    b = home()
    nonce = arm_drive(b.host, 3)
    if permitted:
        b.host.ask(Op.DRIVE_PERMIT, nonce=nonce)
    b.host.run(LIMITS[limit] / 1e3 + 0.1)
    assert b.host.drive_states()[-1] == (OFF, reason)
    press(b)
    assert motor(b).seen == []


def test_the_lamp_is_lit_while_a_hand_may_start_it_and_while_it_runs() -> None:
    b = home()
    nonce = arm_drive(b.host, 1)
    b.host.run(1.0)
    blinks = [c.on for c in b.board.outputs if c.name == "LAMP"]
    assert 3 <= len(blinks) <= 6
    b.host.ask(Op.DRIVE_PERMIT, nonce=nonce)
    b.host.run(1.0)
    assert b.board.on("LAMP")
    press(b)
    b.host.run(2.0)
    assert b.host.drive_states()[-1] == (OFF, Reason.TARGET)
    assert not b.board.on("LAMP")


def test_a_driven_run_with_everything_streaming_loses_no_edge_and_no_frame() -> None:
    b = figures.driving(ScriptedCarriage(seed=4))
    end = figures.wander(b.tower, b.board.now_s + 0.01, 16_033, 100_000)
    b.host.run(end - b.board.now_s + 0.1)
    status = b.host.status()
    assert status["height"] == b.tower.count
    assert status["illegal_edges"] == status["missed_samples"] == b.host.gaps == 0
    assert len(b.host.strokes()) == len(motor(b).completed) > 5


def test_noise_on_the_line_starts_nothing() -> None:
    b = home()
    load_all(b.host)
    nonce = arm_drive(b.host, 3)
    assert b.host.ask(Op.DRIVE_PERMIT, nonce=nonce)["reason"] == Reason.NONE
    for at in range(200):
        b.board.write(bytes((at * 7 + k * 31) & 0x7F for k in range(50)))
        b.host.run(0.004)
    assert motor(b).seen == []
