"""One suite for every board; and every check of it can fail."""

import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from rig.board import channel_checks, conformance, stroke_checks, wire
from rig.board.link import Link
from rig.board.wire import Kind, Op, Output, Reason
from rig.virtual.arm.plant import Jig
from rig.virtual.board import firmata, orders, safety, standin, twin
from rig.virtual.board.channels import LoadChannel
from rig.virtual.board.converter import Converter
from rig.virtual.board.interlock import Interlock
from rig.virtual.board.orders import Orders
from rig.virtual.board.reporter import Reporter
from rig.virtual.board.standin import StandIn
from rig.virtual.board.twin import Twin
from rig.virtual.tower.parameters import TowerTruth
from rig.virtual.tower.plant import Tower
from tests.conformance import stroke_doctors
from tests.virtual.carriage import ScriptedCarriage

Patch = pytest.MonkeyPatch


def link_to(board: StandIn) -> Link:
    return Link(board, clock=board.clock, name="board under test")


def troubles(link: Link) -> dict[str, str]:
    """Trouble by claim."""
    return {found.claim: found.trouble for found in conformance.run(link) if not found.holds}


def without_converter() -> StandIn:
    return StandIn(Tower())


def with_a_fast_converter() -> StandIn:
    return StandIn(Tower(), Jig())


def with_a_slow_converter() -> StandIn:
    jig = Jig()
    return StandIn(Tower(), jig, Converter(jig, rate_hz=10.0, error=-0.02))


def with_its_converter_stuck() -> StandIn:
    board = StandIn(Tower(), Jig())
    board.fault("load_stuck_low")
    return board


def with_a_carriage_at_home() -> StandIn:
    return StandIn(Tower(), Jig(), carriage=ScriptedCarriage())


def with_a_carriage_half_way() -> StandIn:
    return StandIn(Tower(), carriage=ScriptedCarriage(levels={"NEAR": 1, "FAR": 1}))


def with_both_its_switches_closed() -> StandIn:
    return StandIn(Tower(), carriage=ScriptedCarriage(levels={"NEAR": 0, "FAR": 0}))


@pytest.mark.parametrize(
    "make",
    [
        *(without_converter, with_a_fast_converter, with_a_slow_converter),
        *(with_its_converter_stuck, with_a_carriage_at_home, with_a_carriage_half_way),
    ],
)
def test_the_stand_in_passes_every_check(make: Callable[[], StandIn]) -> None:
    found = list(conformance.run(link_to(make())))
    assert all(finding.holds for finding in found)
    assert len({finding.claim for finding in found}) == len(conformance.CHECKS) + 1
    unseen = () if make is with_a_carriage_at_home else OF_AN_ARMED_DRIVE
    assert {finding.claim for finding in found if finding.trouble} == set(unseen)


def test_checks_that_need_a_carriage_at_home_are_told_as_not_fitted_without_one() -> None:
    told = {found.claim: found for found in conformance.run(link_to(StandIn(Tower())))}
    for claim in OF_AN_ARMED_DRIVE:
        assert not told[claim].fitted and told[claim].holds
        assert "no carriage at home" in told[claim].trouble


def test_a_carriage_that_is_there_and_not_home_leaves_its_checks_unmade() -> None:
    found = troubles(link_to(with_both_its_switches_closed()))
    assert set(found) == set(OF_AN_ARMED_DRIVE)
    assert all(trouble.startswith("not checked") for trouble in found.values())


def claim_of(check: conformance.Check) -> str:
    return (check.__doc__ or "").strip().rstrip(".")


OF_AN_ARMED_DRIVE = (
    claim_of(stroke_checks.takes_a_drive_s_nonce_once),
    claim_of(stroke_checks.drop_and_drive_refuse_each_other),
)

# -- a board wrong in one thing, for each check


def old_firmata(patch: Patch) -> None:
    patch.setattr(firmata, "version_report", lambda: bytes([firmata.VERSION, 2, 7]))


def offers_the_latch(patch: Patch) -> None:
    modes_of = firmata.modes_of
    patch.setattr(firmata, "modes_of", lambda pin: modes_of(13 if pin == 9 else pin))


def refuses_without_a_word(patch: Patch) -> None:
    patch.setattr(firmata.Pins, "_permitted", lambda self, pin: pin in self._modes)


def tells_status_half_as_often(patch: Patch) -> None:
    patch.setattr(twin, "STATUS_MS", 200)


def loses_blocks(patch: Patch) -> None:
    height = Reporter.height

    def lossy(self: Reporter, samples: list[int], time: int, t: float) -> None:
        if time % 1_000_000 < 20_000:
            self.skip_frames = 1
        height(self, samples, time, t)

    patch.setattr(Reporter, "height", lossy)


def samples_late(patch: Patch) -> None:
    height = Reporter.height

    def late(self: Reporter, samples: list[int], time: int, t: float) -> None:
        height(self, samples, time + (100 if time % 40_000 < 20_000 else 0), t)

    patch.setattr(Reporter, "height", late)


def samples_twice(patch: Patch) -> None:
    channel = replace(wire.CHANNELS[wire.Kind.HEIGHT], period_ticks=1_000)
    patch.setitem(wire.CHANNELS, wire.Kind.HEIGHT, channel)  # as both would agree to be 2 kHz


def streams_for_ever(patch: Patch) -> None:
    stream = Twin._stream
    height = Kind.HEIGHT
    patch.setattr(Twin, "_stream", lambda self, kind, on: stream(self, kind, on or kind == height))


def never_stops_load_and_angle(patch: Patch) -> None:
    stream = Twin._stream
    jig = Kind.LOAD, Kind.ANGLE
    patch.setattr(Twin, "_stream", lambda self, kind, on: stream(self, kind, on or kind in jig))


def takes_any_channel(patch: Patch) -> None:
    stream = Twin._stream
    patch.setattr(Twin, "_stream", lambda self, kind, on: stream(self, kind, on) or True)


def loses_sums(patch: Patch) -> None:
    angle = Reporter.angle

    def lossy(self: Reporter, sums: list[int], time: int, t: float) -> None:
        if time % 1_000_000 < 80_000:
            self.skip_frames = 1
        angle(self, sums, time, t)

    patch.setattr(Reporter, "angle", lossy)


def sums_late(patch: Patch) -> None:
    angle = Reporter.angle

    def late(self: Reporter, sums: list[int], time: int, t: float) -> None:
        angle(self, sums, time + (2_000 if time % 160_000 < 80_000 else 0), t)

    patch.setattr(Reporter, "angle", late)


def sums_too_many(patch: Patch) -> None:
    angle = Reporter.angle
    patch.setattr(Reporter, "angle", lambda self, sums, *at: angle(self, [65_535] * 5, *at))


def times_conversions_when_it_likes(patch: Patch) -> None:
    load = Reporter.load

    def rounded(self: Reporter, code: int, time: int, t: float) -> None:
        load(self, code, time // 20_000 * 20_000, t)

    patch.setattr(Reporter, "load", rounded)


def loses_conversions(patch: Patch) -> None:
    load = Reporter.load

    def lossy(self: Reporter, code: int, time: int, t: float) -> None:
        if time % 1_000_000 < 30_000:
            self.skip_frames = 1
        load(self, code, time, t)

    patch.setattr(Reporter, "load", lossy)


def says_nothing_of_a_missing_converter(patch: Patch) -> None:
    patch.setattr(Converter, "dead", True)
    patch.setattr(LoadChannel, "_tell", lambda self, *fault: None)


def counts_no_damage(patch: Patch) -> None:
    count = Reporter.count

    def blind(self: Reporter, counter: str) -> None:
        if counter != "rx_damaged":
            count(self, counter)

    patch.setattr(Reporter, "count", blind)


def obeys_damaged_commands(patch: Patch) -> None:
    obey = Orders.obey

    def careless(self: Orders, data: bytes, ticks: int) -> Any:
        body = data[: -wire.CRC.septets]
        return obey(self, body + wire.septets(zlib.crc32(body), wire.CRC), ticks)

    patch.setattr(Orders, "obey", careless)


def takes_any_length(patch: Patch) -> None:
    carry_out = Orders._carry_out

    def lenient(self: Orders, code: int, payload: bytes, ticks: int) -> tuple[Reason, int]:
        if code == Op.STREAM and not payload:
            return Reason.NONE, 0
        return carry_out(self, code, payload, ticks)

    patch.setattr(Orders, "_carry_out", lenient)


def says_nothing_to_wrong_lengths(patch: Patch) -> None:
    command = Twin._command

    def picky(self: Twin, data: bytes) -> None:
        if data[1] != Op.STREAM or len(data) > 4 + wire.CRC.septets:
            command(self, data)

    patch.setattr(Twin, "_command", picky)


def keeps_bad_time(patch: Patch) -> None:
    start = Twin.__init__

    def fast(self: Twin, start_s: float, rate_hz: float, *rest: Any) -> None:
        start(self, start_s, 1.02 * rate_hz, *rest)

    patch.setattr(Twin, "__init__", fast)


def answers_no_heartbeat(patch: Patch) -> None:
    reply = Reporter.reply

    def curt(self: Reporter, head: dict[str, int], *rest: Any) -> None:
        if head["op"] != Op.BEAT:
            reply(self, head, *rest)

    patch.setattr(Reporter, "reply", curt)


def permit_with(
    patch: Patch, change: Callable[[Interlock, int], tuple[Reason, int] | None]
) -> None:
    """An interlock whose permit gives what `change` does, where that is something."""
    permit = Interlock.permit
    patch.setattr(
        Interlock, "permit", lambda lock, nonce: change(lock, nonce) or permit(lock, nonce)
    )


def arm_with(
    patch: Patch, change: Callable[[Interlock, int, int, int], tuple[Reason, int] | None]
) -> None:
    """An interlock whose arming gives what `change` does, where that is something."""
    arm = Interlock.arm
    patch.setattr(Interlock, "arm", lambda lock, *given: change(lock, *given) or arm(lock, *given))


def permits_unarmed(patch: Patch) -> None:
    never = 1 << 27
    permit_with(patch, lambda lock, nonce: (Reason.NONE, 0) if nonce == never else None)


def arms_an_empty_window(patch: Patch) -> None:
    arm_with(patch, lambda lock, low, high, nonce: (Reason.NONE, nonce) if low == high else None)


def arms_anywhere(patch: Patch) -> None:
    def anywhere(lock: Interlock, low: int, high: int, nonce: int) -> tuple[Reason, int] | None:
        return (Reason.NONE, nonce) if high > low > lock.position else None

    arm_with(patch, anywhere)


def names_one_condition_only(patch: Patch) -> None:
    def short(lock: Interlock, low: int, high: int, nonce: int) -> tuple[Reason, int] | None:
        unsteady = Reason.NOT_STEADY, 1 << Reason.NOT_STEADY
        return unsteady if high > low > lock.position else None

    arm_with(patch, short)


def takes_any_nonce(patch: Patch) -> None:
    permit = Interlock.permit
    patch.setattr(
        Interlock, "permit", lambda lock, nonce: permit(lock, lock._nonce if nonce else nonce)
    )


def stays_armed_after_a_wrong_nonce(patch: Patch) -> None:
    wrong = Reason.WRONG_NONCE, 1 << Reason.WRONG_NONCE

    def forgiving(lock: Interlock, nonce: int) -> tuple[Reason, int] | None:
        return wrong if lock._nonce and nonce != lock._nonce else None

    permit_with(patch, forgiving)


def gives_the_same_nonce(patch: Patch) -> None:
    patch.setattr(orders.Nonces, "next", lambda self, time: 4711)


def never_permits(patch: Patch) -> None:
    def stubborn(lock: Interlock, nonce: int) -> tuple[Reason, int] | None:
        known = lock._nonce and nonce == lock._nonce
        return (Reason.BUSY, 1 << Reason.BUSY) if known else None

    permit_with(patch, stubborn)


def trips_late(patch: Patch) -> None:
    patch.setattr("rig.virtual.board.interlock.BEAT_LIMIT_MS", 720)


def trips_early(patch: Patch) -> None:
    patch.setattr("rig.virtual.board.interlock.BEAT_LIMIT_MS", 300)


def never_trips(patch: Patch) -> None:
    patch.setattr("rig.virtual.board.interlock.BEAT_LIMIT_MS", 9_999)


def trips_for_another_reason(patch: Patch) -> None:
    trip = Interlock.trip
    patch.setattr(Interlock, "trip", lambda lock, reason: trip(lock, Reason.WATCHDOG))


def clears_from_afar(patch: Patch) -> None:
    patch.setattr(Interlock, "clear", lambda lock: (Reason.NONE, 0))


def energises_at_permit(output: Output) -> Callable[[Patch], None]:
    """A board that lets current flow for a moment when permitted."""

    def doctor(patch: Patch) -> None:
        permit = Interlock.permit

        def eager(lock: Interlock, nonce: int) -> tuple[Reason, int]:
            answer = permit(lock, nonce)
            if answer[0] is Reason.NONE:
                setattr(lock, output.name.lower(), True)
            return answer

        patch.setattr(Interlock, "permit", eager)

    return doctor


Doctor = Callable[[Patch], None]
WRONG: list[tuple[Doctor, str]] = [
    (old_firmata, claim_of(conformance._tells_who_it_is)),
    (offers_the_latch, claim_of(conformance._keeps_reserved_pins)),
    (refuses_without_a_word, claim_of(conformance._refuses_a_reserved_pin)),
    (tells_status_half_as_often, claim_of(conformance._reports_status)),
    (loses_blocks, claim_of(channel_checks.streams_height)),
    (samples_late, claim_of(channel_checks.streams_height)),
    (samples_twice, claim_of(channel_checks.streams_height)),
    (streams_for_ever, claim_of(channel_checks.stops_streaming)),
    (loses_sums, claim_of(channel_checks.streams_angle)),
    (sums_late, claim_of(channel_checks.streams_angle)),
    (sums_too_many, claim_of(channel_checks.streams_angle)),
    (times_conversions_when_it_likes, claim_of(channel_checks.streams_load)),
    (loses_conversions, claim_of(channel_checks.streams_load)),
    (says_nothing_of_a_missing_converter, claim_of(channel_checks.streams_load)),
    (never_stops_load_and_angle, claim_of(channel_checks.stops_load_and_angle)),
    (takes_any_channel, claim_of(channel_checks.refuses_an_unknown_channel)),
    (counts_no_damage, claim_of(conformance._counts_damaged)),
    (obeys_damaged_commands, claim_of(conformance._counts_damaged)),
    (takes_any_length, claim_of(conformance._answers_unknown)),
    (says_nothing_to_wrong_lengths, claim_of(conformance._answers_unknown)),
    (keeps_bad_time, claim_of(conformance._keeps_time)),
    (permits_unarmed, claim_of(conformance._refuses_unarmed)),
    (arms_an_empty_window, claim_of(conformance._refuses_empty_window)),
    (arms_anywhere, claim_of(conformance._refuses_outside)),
    (names_one_condition_only, claim_of(conformance._refuses_outside)),
    (takes_any_nonce, claim_of(conformance._refuses_wrong_nonce)),
    (stays_armed_after_a_wrong_nonce, claim_of(conformance._refuses_wrong_nonce)),
    (gives_the_same_nonce, claim_of(conformance._nonce_is_used_once)),
    (never_permits, claim_of(conformance._nonce_is_used_once)),
    *stroke_doctors.WRONG,
    (energises_at_permit(Output.LATCH), conformance.STAYED_OFF),
    (energises_at_permit(Output.CATCH), conformance.STAYED_OFF),
    (trips_late, claim_of(conformance._trips_on_silence)),
    (trips_early, claim_of(conformance._trips_on_silence)),
    (trips_for_another_reason, claim_of(conformance._trips_on_silence)),
    (clears_from_afar, claim_of(conformance._stays_tripped)),
]


@pytest.mark.parametrize(("doctor", "claim"), WRONG, ids=[doctor.__name__ for doctor, _ in WRONG])
def test_a_board_wrong_in_one_thing_fails_that_check_alone(
    doctor: Doctor, claim: str, monkeypatch: Patch
) -> None:
    doctor(monkeypatch)
    found = troubles(link_to(with_a_carriage_at_home()))
    assert set(found) == {claim}, found


@pytest.mark.parametrize("make", [with_a_carriage_half_way, with_both_its_switches_closed])
def test_a_drive_that_is_armed_anywhere_is_found_where_the_carriage_is_not_home(
    make: Callable[[], StandIn], monkeypatch: Patch
) -> None:
    stroke_doctors.arms_a_drive_anywhere(monkeypatch)
    claim = claim_of(stroke_checks.arms_a_drive_at_home_only)
    found = troubles(link_to(make()))
    assert "in spite of" in found[claim]


def test_a_board_that_never_trips_fails_both_checks_of_the_trip(monkeypatch: Patch) -> None:
    never_trips(monkeypatch)
    found = troubles(link_to(StandIn(Tower())))
    assert found == {
        claim_of(conformance._trips_on_silence): "its state is ARMED",
        claim_of(conformance._stays_tripped): "not checked, it is not tripped",
    }


def test_a_board_that_answers_no_heartbeat_fails_both_checks_of_it(monkeypatch: Patch) -> None:
    answers_no_heartbeat(monkeypatch)
    found = troubles(link_to(StandIn(Tower())))
    assert found == {
        claim_of(conformance._keeps_time): "only 0 heartbeats were answered in 3 s",
        claim_of(conformance._trips_on_silence): "not checked, no heartbeat was answered",
    }


def test_every_check_has_a_board_that_fails_it() -> None:
    claims = {claim_of(check) for check in conformance.CHECKS} | {conformance.STAYED_OFF}
    assert {claim for _, claim in WRONG} == claims


def test_an_energised_latch_is_seen_in_the_check_of_the_reserved_pin(monkeypatch: Patch) -> None:
    request = firmata.Pins._request_level

    def obey(self: firmata.Pins, pin: int, level: int) -> None:
        board._twin.interlock.latch = bool(level)  # type: ignore[union-attr]
        request(self, pin, level)

    monkeypatch.setattr(firmata.Pins, "_request_level", obey)
    board = StandIn(Tower())
    found = troubles(link_to(board))
    assert found[claim_of(conformance._refuses_a_reserved_pin)] == "the latch was energised"
    assert "LATCH" in found[conformance.STAYED_OFF]


# -- checks that cannot be made


def with_guard_open() -> StandIn:
    tower = Tower()
    tower.switch("GUARD", 1, tower.now_s)
    return StandIn(tower)


def test_a_check_that_cannot_be_made_does_not_pass() -> None:
    found = troubles(link_to(with_guard_open()))
    unmade = [
        conformance._refuses_wrong_nonce,
        conformance._nonce_is_used_once,
        stroke_checks.drop_and_drive_refuse_each_other,
        conformance._trips_on_silence,
        conformance._stays_tripped,
    ]
    assert set(found) == {claim_of(check) for check in unmade}
    assert all(trouble.startswith("not checked") for trouble in found.values())
    assert "GUARD_OPEN" in found[claim_of(conformance._nonce_is_used_once)]


def test_a_second_run_on_the_tripped_board_says_what_is_in_the_way() -> None:
    board = StandIn(Tower())
    link = link_to(board)
    assert troubles(link) == {}
    again = troubles(link)
    assert "not checked, arming was refused: TRIPPED" in again.values()


def test_a_line_lost_half_way_ends_the_run_with_that_finding() -> None:
    board = StandIn(Tower())
    link = link_to(board)
    board.fault("unplugged", at_s=board.clock.now() + 2.0)
    found = list(conformance.run(link))
    assert 0 < len(found) < len(conformance.CHECKS)
    assert "unplugged" in found[-1].trouble
    assert all(finding.holds for finding in found[:-1])
    assert link.listeners == []


def test_a_resonator_at_the_edge_of_its_kind_passes() -> None:
    # Ceramic resonators of such boards: 0.5 % at most (data sheets; from memory).
    board = StandIn(Tower(replace(TowerTruth(), resonator=0.005)))
    assert troubles(link_to(board)) == {}


@pytest.fixture(autouse=True)
def _same_module() -> Iterator[None]:
    """The stand-in must be built of the classes that the doctors change."""
    assert standin.Twin is Twin
    assert safety.Interlock is Interlock
    assert twin.Reporter is Reporter
    assert twin.Orders is Orders
    assert twin.LoadChannel is LoadChannel
    yield
