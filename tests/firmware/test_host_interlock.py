"""Timelines of the interlock in the firmware: every reason it can give, and every output."""

import pytest

from rig.board.wire import LIMITS, Reason, State
from tests.firmware.host import FirmwareInterlock

NONCE = 0x0ABCDEF
HEIGHT = 4000  # counts
LOW, HIGH = HEIGHT - 10, HEIGHT + 10
ARM, PERMIT, LEAD = LIMITS["ARM_LIMIT_MS"], LIMITS["PERMIT_LIMIT_MS"], LIMITS["CATCH_LEAD_MS"]
DEBOUNCE, DROPPED = LIMITS["BUTTON_DEBOUNCE_MS"], LIMITS["DROPPED_COUNTS"]


class Scene:
    """A carriage at rest in the hook, guard closed, and a host that beats unless it is silent."""

    def __init__(self) -> None:
        self.lock = FirmwareInterlock()
        self.guard, self.estop, self.button = True, True, False
        self.position = HEIGHT
        self.host = True
        self.run(LIMITS["STEADY_MS"] + 1)

    def run(self, ms: int = 1) -> "Scene":
        for _ in range(ms):
            if self.host:
                self.lock.beat()
            self.lock.tick(self.guard, self.estop, self.button, self.position)
        return self

    @property
    def at(self) -> tuple[State, Reason]:
        look = self.lock.look()
        return look.state, look.reason

    @property
    def energised(self) -> tuple[bool, bool]:
        """Latch, catch."""
        look = self.lock.look()
        return look.latch, look.catch

    def armed(self) -> "Scene":
        assert self.lock.arm(LOW, HIGH, NONCE) == (Reason.NONE, NONCE)
        return self

    def permitted(self) -> "Scene":
        self.armed().run(5)
        assert self.lock.permit(NONCE) == (Reason.NONE, 0)
        return self

    def releasing(self) -> "Scene":
        self.permitted().run(5)
        self.button = True
        self.run(DEBOUNCE)
        assert self.at == (State.RELEASING, Reason.RELEASED)
        return self

    def flight(self) -> "Scene":
        self.releasing().run(LEAD)
        self.position -= DROPPED
        self.run()
        assert self.at == (State.FLIGHT, Reason.RELEASED)
        return self


STAGES = ("armed", "permitted", "releasing", "flight")


@pytest.fixture
def scene() -> Scene:
    return Scene()


def at_stage(stage: str) -> Scene:
    scene = Scene()
    getattr(scene, stage)()
    return scene


def mask(*reasons: Reason) -> int:
    return sum(1 << reason for reason in reasons)


def test_power_up_is_held_with_all_outputs_off() -> None:
    look = FirmwareInterlock().look()
    assert (look.state, look.reason) == (State.HELD, Reason.NONE)
    assert (look.latch, look.catch, look.lamp) == (False, False, False)


def test_arming_before_any_tick_is_refused() -> None:
    reason, failing = FirmwareInterlock().arm(LOW, HIGH, NONCE)
    assert reason is Reason.GUARD_OPEN
    assert failing & mask(Reason.GUARD_OPEN, Reason.ESTOP_OPEN, Reason.BEAT_LOST)


def test_a_whole_drop_opens_the_catch_first_and_closes_it_at_the_rebound(scene: Scene) -> None:
    scene.releasing()
    assert scene.energised == (False, True), "catch open at once"
    scene.run(LEAD - 1)
    assert scene.energised == (False, True)
    scene.run()
    assert scene.energised == (True, True), "latch after the lead"
    scene.position -= DROPPED - 1
    scene.run()
    assert scene.energised == (True, True)
    scene.position -= 1
    scene.run()
    assert scene.at == (State.FLIGHT, Reason.RELEASED)
    assert scene.energised == (False, True), "latch off as soon as the carriage has left it"
    for _ in range(100):
        scene.position -= 16
        scene.run()
    assert scene.energised == (False, True)
    scene.run(3)
    scene.position += 1
    scene.run()
    assert scene.at == (State.HELD, Reason.REVERSED)
    assert scene.energised == (False, False)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"guard": False}, Reason.GUARD_OPEN),
        ({"button": True}, Reason.BUTTON_HELD),
        ({"position": HIGH + 1}, Reason.OUTSIDE_WINDOW),
        ({"position": LOW - 1}, Reason.OUTSIDE_WINDOW),
        ({"position": HEIGHT + 2}, Reason.NOT_STEADY),
    ],
)
def test_each_unmet_condition_refuses_arming(
    scene: Scene, change: dict[str, object], reason: Reason
) -> None:
    vars(scene).update(change)
    scene.run()
    refused, failing = scene.lock.arm(LOW, HIGH, NONCE)
    assert refused is reason
    assert failing & mask(reason)
    assert scene.at[0] is State.HELD


def test_a_silent_host_cannot_arm(scene: Scene) -> None:
    scene.host = False
    scene.run(LIMITS["BEAT_LIMIT_MS"] - 1)
    assert scene.lock.arm(LOW, HIGH, NONCE)[0] is Reason.NONE
    scene.lock.disarm()
    scene.run()
    assert scene.lock.arm(LOW, HIGH, NONCE) == (Reason.BEAT_LOST, mask(Reason.BEAT_LOST))


def test_a_refusal_names_the_first_and_shows_all(scene: Scene) -> None:
    scene.guard, scene.button, scene.position = False, True, HIGH + 50
    scene.run()
    assert scene.lock.arm(LOW, HIGH, NONCE) == (
        Reason.GUARD_OPEN,
        mask(Reason.GUARD_OPEN, Reason.OUTSIDE_WINDOW, Reason.NOT_STEADY, Reason.BUTTON_HELD),
    )


def test_a_steady_carriage_may_flicker_by_a_count(scene: Scene) -> None:
    for ms in range(600):
        scene.position = HEIGHT + ms % 2
        scene.run()
    assert scene.lock.arm(LOW, HIGH, NONCE)[0] is Reason.NONE


def test_steadiness_is_counted_from_the_last_move(scene: Scene) -> None:
    scene.position += 5
    scene.run(LIMITS["STEADY_MS"])
    assert scene.lock.arm(LOW, HIGH, NONCE)[0] is Reason.NOT_STEADY
    scene.run()
    assert scene.lock.arm(LOW, HIGH, NONCE)[0] is Reason.NONE


@pytest.mark.parametrize(("low", "high"), [(LOW, LOW), (HIGH, LOW)])
def test_a_window_without_width_is_bad(scene: Scene, low: int, high: int) -> None:
    assert scene.lock.arm(low, high, NONCE) == (Reason.BAD_WINDOW, mask(Reason.BAD_WINDOW))


@pytest.mark.parametrize("stage", ["releasing", "flight"])
def test_nobody_arms_while_the_carriage_is_on_its_way(stage: str) -> None:
    scene = at_stage(stage)
    assert scene.lock.arm(LOW, HIGH, NONCE) == (Reason.BUSY, mask(Reason.BUSY))
    assert scene.at[0] is State[stage.upper()]


def test_a_refused_arm_takes_an_older_one_back(scene: Scene) -> None:
    scene.permitted()
    assert scene.lock.arm(HIGH, LOW, NONCE)[0] is Reason.BAD_WINDOW
    assert scene.at == (State.HELD, Reason.BAD_WINDOW)


def test_arming_expires(scene: Scene) -> None:
    scene.armed().run(ARM - 1)
    assert scene.at == (State.ARMED, Reason.NONE)
    scene.run()
    assert scene.at == (State.HELD, Reason.ARM_EXPIRED)


def test_a_permit_expires(scene: Scene) -> None:
    scene.permitted().run(PERMIT - 1)
    assert scene.at == (State.PERMITTED, Reason.NONE)
    assert scene.lock.look().permit_left == 1
    scene.run()
    assert scene.at == (State.HELD, Reason.PERMIT_EXPIRED)


def test_a_permit_without_arming_is_refused(scene: Scene) -> None:
    assert scene.lock.permit(0) == (Reason.NOT_ARMED, mask(Reason.NOT_ARMED))
    assert scene.at[0] is State.HELD


def test_a_wrong_nonce_disarms(scene: Scene) -> None:
    scene.armed()
    assert scene.lock.permit(NONCE + 1) == (Reason.WRONG_NONCE, mask(Reason.WRONG_NONCE))
    assert scene.at == (State.HELD, Reason.WRONG_NONCE)
    assert scene.lock.permit(NONCE)[0] is Reason.NOT_ARMED, "the nonce is spent"


def test_a_button_held_from_before_the_permit_does_not_release(scene: Scene) -> None:
    scene.armed()
    scene.button = True
    scene.run()
    assert scene.at == (State.HELD, Reason.BUTTON_HELD)
    assert scene.lock.permit(NONCE)[0] is Reason.NOT_ARMED


def test_a_bouncing_button_releases_only_when_it_rests(scene: Scene) -> None:
    scene.permitted()
    for ms in range(100):
        scene.button = ms % DEBOUNCE != 0
        scene.run()
    assert scene.at == (State.PERMITTED, Reason.NONE)
    scene.button = True
    scene.run(DEBOUNCE)
    assert scene.at == (State.RELEASING, Reason.RELEASED)


@pytest.mark.parametrize("stage", STAGES)
def test_an_open_guard_trips(stage: str) -> None:
    scene = at_stage(stage)
    scene.guard = False
    scene.run()
    assert scene.at == (State.TRIPPED, Reason.GUARD_OPEN)
    assert scene.energised == (False, False)


@pytest.mark.parametrize("stage", STAGES)
def test_a_guard_that_opens_between_ticks_trips_at_once(stage: str) -> None:
    scene = at_stage(stage)
    scene.lock.loop_open(Reason.GUARD_OPEN)
    assert scene.at == (State.TRIPPED, Reason.GUARD_OPEN)
    assert scene.energised == (False, False)


def test_an_open_guard_while_held_is_normal(scene: Scene) -> None:
    scene.lock.loop_open(Reason.GUARD_OPEN)
    scene.guard = False
    scene.run(10)
    assert scene.at == (State.HELD, Reason.NONE)


@pytest.mark.parametrize("stage", [*STAGES, "run"])
def test_an_open_emergency_stop_trips_from_any_state(stage: str) -> None:
    by_tick, by_pin = at_stage(stage), at_stage(stage)
    by_tick.estop = False
    by_tick.run()
    by_pin.lock.loop_open(Reason.ESTOP_OPEN)
    for scene in (by_tick, by_pin):
        assert scene.at == (State.TRIPPED, Reason.ESTOP_OPEN)
        assert scene.energised == (False, False)


@pytest.mark.parametrize("stage", STAGES)
def test_a_silent_host_trips(stage: str) -> None:
    scene = at_stage(stage)
    scene.host = False
    if stage == "releasing":  # its own limits are shorter: let the silence begin before
        scene = at_stage("permitted")
        scene.host = False
        scene.run(LIMITS["BEAT_LIMIT_MS"] - 101)
        scene.button = True
        scene.run(100)
        assert scene.at[0] is State.RELEASING
    else:
        scene.run(LIMITS["BEAT_LIMIT_MS"] - 1)
        assert scene.at[0] is State[stage.upper()]
    scene.run()
    assert scene.at == (State.TRIPPED, Reason.BEAT_LOST)
    assert scene.energised == (False, False)


@pytest.mark.parametrize("stage", STAGES)
def test_the_host_disarms_from_anywhere(stage: str) -> None:
    scene = at_stage(stage)
    scene.lock.disarm()
    assert scene.at == (State.HELD, Reason.HOST_DISARM)
    assert scene.energised == (False, False)


def test_disarming_does_not_lead_out_of_a_trip(scene: Scene) -> None:
    scene.lock.loop_open(Reason.ESTOP_OPEN)
    scene.lock.disarm()
    assert scene.at == (State.TRIPPED, Reason.ESTOP_OPEN)


def test_a_carriage_that_does_not_leave_ends_the_release(scene: Scene) -> None:
    scene.releasing().run(LEAD + LIMITS["LATCH_LIMIT_MS"] - 1)
    assert scene.energised == (True, True)
    scene.run()
    assert scene.at == (State.HELD, Reason.NO_RELEASE)
    assert scene.energised == (False, False)


def test_an_encoder_that_counts_the_wrong_way_trips(scene: Scene) -> None:
    scene.releasing().run(LEAD)
    scene.position += DROPPED
    scene.run()
    assert scene.at == (State.TRIPPED, Reason.ENCODER_BACKWARDS)
    assert scene.energised == (False, False)


def test_a_flight_that_never_turns_ends(scene: Scene) -> None:
    scene.flight().run(LIMITS["FLIGHT_LIMIT_MS"] - 1)
    assert scene.at[0] is State.FLIGHT
    scene.run()
    assert scene.at == (State.HELD, Reason.FLIGHT_TIMEOUT)
    assert scene.energised == (False, False)


def test_the_count_may_wrap_around_in_flight() -> None:
    scene = Scene()
    scene.position = -32_760
    scene.run(LIMITS["STEADY_MS"] + 1)
    assert scene.lock.arm(-32_768, -32_700, NONCE)[0] is Reason.NONE
    assert scene.lock.permit(NONCE)[0] is Reason.NONE
    scene.button = True
    scene.run(DEBOUNCE + LEAD)
    scene.position = 32_767 - DROPPED
    scene.run()
    assert scene.at == (State.FLIGHT, Reason.RELEASED)
    scene.position += 1
    scene.run()
    assert scene.at == (State.HELD, Reason.REVERSED)


def test_a_trip_is_cleared_after_the_guard_has_been_opened_and_closed(scene: Scene) -> None:
    scene.lock.loop_open(Reason.ESTOP_OPEN)
    scene.run()
    assert scene.lock.clear() == (Reason.GUARD_NOT_CYCLED, mask(Reason.GUARD_NOT_CYCLED))
    scene.guard = False
    scene.run()
    assert scene.lock.clear() == (Reason.GUARD_OPEN, mask(Reason.GUARD_OPEN))
    scene.guard = True
    scene.run()
    assert scene.lock.clear() == (Reason.NONE, 0)
    assert scene.at == (State.HELD, Reason.NONE)


def test_clearing_shows_all_that_stands_against_it(scene: Scene) -> None:
    scene.estop, scene.button = False, True
    scene.run()
    assert scene.lock.clear() == (
        Reason.ESTOP_OPEN,
        mask(Reason.ESTOP_OPEN, Reason.BUTTON_HELD, Reason.GUARD_NOT_CYCLED),
    )


def test_there_is_nothing_to_clear_without_a_trip(scene: Scene) -> None:
    assert scene.lock.clear() == (Reason.NOT_TRIPPED, mask(Reason.NOT_TRIPPED))


def test_arming_while_tripped_is_refused(scene: Scene) -> None:
    scene.lock.trip(Reason.WATCHDOG)
    assert scene.at == (State.TRIPPED, Reason.WATCHDOG)
    assert scene.lock.arm(LOW, HIGH, NONCE) == (Reason.TRIPPED, mask(Reason.TRIPPED))


def lamp(scene: Scene, ms: int) -> str:
    shown = ""
    for _ in range(ms):
        shown += "#" if scene.run().lock.look().lamp else "_"
    return shown


def test_the_lamp_tells_the_state(scene: Scene) -> None:
    assert "#" not in lamp(scene, 500)
    scene.armed()
    assert lamp(scene, 1000).count("#") == 500
    scene.lock.permit(NONCE)
    assert "_" not in lamp(scene, 300)
    scene.lock.loop_open(Reason.ESTOP_OPEN)
    tripped = lamp(scene, 500)
    assert tripped.count("#") == 250
    assert "#" * 50 in tripped
    assert "#" * 51 not in tripped
