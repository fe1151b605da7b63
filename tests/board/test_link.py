"""The link against the stand-in, in virtual time."""

import pytest

from rig.board import wire
from rig.board.frames import Decoder
from rig.board.link import (
    RECENT,
    REPLY_LIMIT_S,
    Link,
    LinkLost,
    NoBoard,
    NoReply,
    Reply,
    WrongFirmware,
)
from rig.board.samples import Happening, capture
from rig.board.wire import Event, Input, Kind, Op, Reason, State
from rig.virtual.arm.plant import Jig
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.plant import Tower
from tests.virtual.worlds import Rig

SECOND = wire.TICK_HZ


def new_board(seed: int = 0) -> StandIn:
    return StandIn(Tower(seed=seed), seed=seed)


def linked(board: StandIn, time_limit_s: float = 5.0) -> Link:
    return Link(board, clock=board.clock, name="bench port", time_limit_s=time_limit_s)


@pytest.fixture
def board() -> StandIn:
    return new_board()


@pytest.fixture
def link(board: StandIn) -> Link:
    return linked(board)


def passed(board: StandIn, start_s: float) -> float:
    return board.clock.now() - start_s


# -- connecting


def test_a_board_is_ready_well_within_its_limit(board: StandIn) -> None:
    start = board.clock.now()
    link = linked(board)
    assert passed(board, start) < 0.5
    assert link.hello is not None
    assert link.hello.firmware == wire.FIRMWARE_VERSION
    assert link.firmware == wire.FIRMWARE_NAME
    assert link.firmata_version == wire.FIRMATA_VERSION


def test_a_board_that_is_reset_by_opening_the_port_is_waited_for(board: StandIn) -> None:
    board.close()
    board.reopen()
    start = board.clock.now()
    linked(board)
    assert passed(board, start) < 1.0


def test_a_noisy_line_is_asked_again_until_all_answers_are_whole(board: StandIn) -> None:
    board.fault("damage_next", 300)
    link = linked(board)
    assert link.firmware == wire.FIRMWARE_NAME
    assert len(link.digital) + len(link.analog) == 20


def test_two_boards_in_one_process_do_not_mix() -> None:
    boards = [new_board(), new_board(seed=1)]
    links = [linked(board) for board in boards]
    seen: list[list[bool]] = [[], []]
    for link, told in zip(links, seen, strict=True):
        link.get_pin("d:13:u").register_callback(told.append)
    for board, link in zip(boards, links, strict=True):
        link.wait(0.05)
        board.set_pin(13, 1)
        link.wait(0.05)
        board.set_pin(13, 0)
        link.wait(0.05)
        assert seen[links.index(link)][-2:] == [True, False]
    assert len(seen[0]) == len(seen[1])
    assert links[0]._command_handlers is not links[1]._command_handlers


def test_another_firmware_is_refused_with_the_remedy(board: StandIn) -> None:
    board.fault("wrong_firmware_name")
    with pytest.raises(WrongFirmware) as caught:
        linked(board)
    assert "'another'" in caught.value.what
    assert "bladerig board flash --port bench port" in caught.value.remedy
    assert "\n" not in str(caught.value)


def test_another_wire_version_is_refused_with_the_remedy(board: StandIn) -> None:
    board.fault("wrong_wire_version")
    with pytest.raises(WrongFirmware) as caught:
        linked(board)
    assert f"wire version {wire.WIRE_VERSION + 1}" in caught.value.what
    assert "bladerig board flash --port bench port" in caught.value.remedy


def test_a_changed_description_is_refused_although_the_version_is_the_same(
    board: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As the link sees it; the board goes on telling what it was built from.
    monkeypatch.setattr("rig.board.greeting.wire", _Changed(wire.description() ^ 1))
    with pytest.raises(WrongFirmware, match="another description"):
        linked(board)


class _Changed:
    """`wire`, with another description."""

    def __init__(self, crc: int) -> None:
        self.description = lambda: crc

    def __getattr__(self, name: str) -> object:
        return getattr(wire, name)


@pytest.mark.parametrize("limit_s", [0.5, 3.0])
def test_no_board_is_told_at_the_limit(board: StandIn, limit_s: float) -> None:
    board.fault("silent")
    start = board.clock.now()
    with pytest.raises(NoBoard) as caught:
        linked(board, limit_s)
    assert limit_s <= passed(board, start) < limit_s + 0.1
    assert "check cable and power" in caught.value.remedy


def test_a_cable_pulled_while_connecting_is_told(board: StandIn) -> None:
    board.fault("silent")
    board.fault("unplugged", at_s=board.clock.now() + 0.3)
    with pytest.raises(LinkLost):
        linked(board)


# -- losses


def test_a_quiet_line_loses_nothing(link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    link.wait(5.0)
    assert (link.decoder.gaps, link.decoder.damaged) == ([], 0)


def test_lost_frames_are_counted_with_their_time(board: StandIn, link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    link.wait(0.5)
    before = link.status_ticks
    board.fault("skip_frames", 5)
    link.wait(0.5)
    (gap,) = link.decoder.gaps
    assert gap.missing == 5
    assert gap.touches(before, before + SECOND // 5)
    assert gap.before_ticks - gap.after_ticks < 3 * SECOND // 10  # the longest block and a bit


def test_damaged_frames_are_counted_with_their_time(board: StandIn, link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    link.wait(0.5)
    before = link.status_ticks
    board.fault("damage_next", 1)
    link.wait(0.5)
    assert link.decoder.damaged >= 1
    assert sum(gap.missing for gap in link.decoder.gaps) == 1
    assert link.decoder.gaps[0].touches(before, before + SECOND // 5)


def test_a_bad_line_never_gives_a_wrong_height(board: StandIn, link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    link.start_record()
    board.fault("damage_bytes", 0.003)
    board.fault("lose_bytes", 0.003)
    link.wait(10.0)
    seen = capture(link.stop_record())
    assert set(seen[Kind.HEIGHT].values.tolist()) == {0}  # the carriage rests
    assert 1_000 < len(seen[Kind.HEIGHT].values) < 10_000
    assert seen.damaged > 10
    assert sum(gap.missing for gap in seen.gaps) > 10


# -- silence, cables, resets


def test_silence_is_noticed_within_a_second(board: StandIn, link: Link) -> None:
    link.wait(1.0)
    board.fault("silent")
    start = board.clock.now()
    with pytest.raises(LinkLost) as caught:
        link.wait(5.0)
    assert passed(board, start) < 1.0
    assert "nothing heard from the board" in caught.value.what
    assert "made itself safe" in caught.value.remedy


def test_a_pulled_cable_is_a_lost_link_with_its_remedy(board: StandIn, link: Link) -> None:
    board.fault("unplugged", at_s=board.clock.now() + 0.2)
    start = board.clock.now()
    with pytest.raises(LinkLost) as caught:
        link.wait(5.0)
    assert passed(board, start) < 0.3
    assert "plug it back in" in caught.value.remedy
    assert caught.value.where == "bench port"


def test_a_command_down_a_pulled_cable_is_a_lost_link(board: StandIn, link: Link) -> None:
    board.fault("unplugged")
    with pytest.raises(LinkLost):
        link.command(Op.HELLO)


def test_a_board_plugged_in_again_connects_with_a_new_boot(board: StandIn, link: Link) -> None:
    link.wait(0.2)
    board.fault("unplugged")
    with pytest.raises(LinkLost):
        link.wait(1.0)
    link.exit()
    board.fault("unplugged", 0)
    board.reopen()
    again = linked(board)
    again.wait(0.5)
    assert again.boot != link.boot
    assert again.status["state"] == State.HELD


def test_a_reset_is_noticed_by_its_boot_number(board: StandIn, link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    link.wait(1.0)
    before = link.boot
    board.fault("reset")
    link.wait(0.5)
    assert link.boot != before
    assert link.decoder.resets == 1
    assert link.decoder.gaps


def test_after_a_reset_position_and_time_are_the_new_boots(board: StandIn, link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    link.wait(2.0)
    link.position = 12_345
    board.fault("reset")
    link.wait(0.6)
    assert link.position == 0  # from STATUS: a board that was reset streams nothing
    assert all(exchange.ticks < SECOND for exchange in link.exchanges)


# -- talking


def test_heartbeats_are_answered_and_their_times_kept(board: StandIn, link: Link) -> None:
    link.wait(3.0)
    assert 25 <= len(link.exchanges) <= 31
    for exchange in link.exchanges:
        assert exchange.sent_s < exchange.received_s < exchange.sent_s + 0.02
    first, last = link.exchanges[0], link.exchanges[-1]
    board_s = (last.ticks - first.ticks) / wire.TICK_HZ
    # No resonator of this kind is off by more than 0.5 % (its data sheet; from memory).
    assert board_s == pytest.approx(last.received_s - first.received_s, rel=0.006)
    assert link.status["beat_age_ms"] < 200


def test_a_program_that_does_not_poll_sends_no_heartbeat(board: StandIn, link: Link) -> None:
    link.wait(0.5)
    board.clock.sleep(0.7)
    link._take()
    assert link.status["beat_age_ms"] > 500


def test_a_command_that_is_not_answered_is_told(board: StandIn, link: Link) -> None:
    link.wait(0.3)
    board.fault("silent")
    start = board.clock.now()
    with pytest.raises(NoReply) as caught:
        link.command(Op.CLEAR)
    assert REPLY_LIMIT_S <= passed(board, start) < REPLY_LIMIT_S + 0.1
    assert "CLEAR" in caught.value.what
    assert caught.value.remedy


def test_an_answer_is_taken_for_a_heartbeats_only_if_it_is_one(link: Link) -> None:
    link.wait(0.3)
    link._beats[link._seq] = link.clock.now()  # a heartbeat of this number is still unanswered
    known = len(link.exchanges)
    assert link.command(Op.DISARM).done
    assert len(link.exchanges) <= known + 1
    assert all(exchange.sent_s < exchange.received_s for exchange in link.exchanges)


def test_a_granted_command_has_no_unmet_conditions() -> None:
    nonce = 1 << Reason.GUARD_OPEN | 1 << Reason.BEAT_LOST
    assert Reply(Op.ARM, Reason.NONE, nonce, 0).unmet() == []
    assert Reply(Op.ARM, Reason.GUARD_OPEN, 0, 0).unmet() == [Reason.GUARD_OPEN]


def test_a_refusal_names_every_unmet_condition(link: Link) -> None:
    link.wait(1.0)
    reply = link.command(Op.ARM, low=500, high=600)
    assert not reply.done
    assert reply.reason is Reason.OUTSIDE_WINDOW
    assert Reason.OUTSIDE_WINDOW in reply.unmet()


def test_events_reach_every_listener() -> None:
    rig = Rig()
    other: list[Happening] = []
    rig.link.listeners.append(other.append)
    rig.hands.open_guard()
    rig.link.wait(1.0)
    rig.hands.close_guard()
    rig.link.wait(1.0)
    told = [(event.code, event.value) for event in rig.events]
    assert (Event.GUARD, 0) in told
    assert told[-1] == (Event.GUARD, 1)
    assert other == rig.events
    assert rig.link.input(Input.GUARD)


def test_a_record_starts_at_a_whole_frame(board: StandIn, link: Link) -> None:
    link.stream(Kind.HEIGHT, True)
    for _ in range(20):
        link.start_record()
        link.wait(0.0137)
        raw = link.stop_record()
        assert capture(raw).damaged == 0
        assert raw == b"" or raw[0] == wire.START


def test_a_plain_pin_is_read_through_the_link(board: StandIn, link: Link) -> None:
    told: list[bool] = []
    link.get_pin("d:13:u").register_callback(told.append)
    link.wait(0.1)
    board.set_pin(13, 1)
    link.wait(0.1)
    assert told[-1] is True
    board.set_pin(13, 0)
    link.wait(0.1)
    assert told[-1] is False


def test_a_message_that_names_no_pin_of_ours_is_counted_as_damage(link: Link) -> None:
    before = link.decoder.damaged
    for item in Decoder().feed(b"\x9f\x01\x01\xef\x01\x01\xf0\x79\xf7"):
        link._message(item)
    assert link.decoder.damaged == before + 3


# -- the end


def armed_rig() -> Rig:
    rig = Rig()
    rig.prepare()
    rig.arm()
    return rig


def state_of(rig: Rig) -> State:
    twin = rig.board._twin
    assert twin is not None
    return twin.interlock.state


def test_exit_disarms_and_gives_the_port_back() -> None:
    rig = armed_rig()
    assert state_of(rig) is State.PERMITTED
    rig.link.exit()
    rig.board.clock.sleep(0.05)
    assert state_of(rig) is State.HELD
    with pytest.raises(OSError):
        rig.board.write(b"\xf9")
    rig.link.exit()  # once more does nothing


def test_exit_of_a_link_whose_board_is_gone_is_quiet() -> None:
    rig = armed_rig()
    rig.board.fault("unplugged")
    rig.link.exit()


EACH = {Kind.HEIGHT: 1000, Kind.LOAD: 80, Kind.ANGLE: 125}  # samples a second


def jig_link(seed: int = 1) -> tuple[StandIn, Jig, Link]:
    jig = Jig(seed=seed)
    board = StandIn(Tower(seed=seed), jig, seed=seed)
    return board, jig, linked(board)


def _samples_in(link: Link, seconds: float) -> dict[Kind, int]:
    link.start_record()
    link.wait(seconds)
    seen = capture(link.stop_record())
    traces = {
        Kind.HEIGHT: seen[Kind.HEIGHT],
        Kind.LOAD: seen[Kind.LOAD],
        Kind.ANGLE: seen[Kind.ANGLE],
    }
    return {kind: len(trace.ticks) for kind, trace in traces.items()}


@pytest.mark.parametrize("kind", list(EACH))
def test_each_stream_follows_what_was_asked(kind: Kind) -> None:
    _, _, link = jig_link()
    link.stream(kind, True)
    link.wait(0.1)
    found = _samples_in(link, 1.0)
    assert found.pop(kind) == pytest.approx(EACH[kind], rel=0.06)
    assert set(found.values()) == {0}
    assert len(link.recent[kind]) > 50 and link.latest[kind] == link.recent[kind][-1]
    link.stream(kind, False)
    assert kind not in link.latest and not link.recent[kind]
    link.wait(0.05)
    assert _samples_in(link, 1.0)[kind] == 0


def test_the_last_samples_of_every_channel_are_at_hand_for_a_live_read_out() -> None:
    _, jig, link = jig_link()
    for kind in EACH:
        link.stream(kind, True)
    jig.hang(3.0, "right")
    link.wait(8.0)
    slope = jig.nature.cell.right * 256 * 2**23
    (_, first), (last_ticks, last) = link.recent[Kind.LOAD][0], link.latest[Kind.LOAD]
    zero = jig.nature.cell.zero * 256 * 2**23
    assert (last - zero) / slope == pytest.approx(jig.nature.hung_nm(3.0), rel=2e-3)
    assert first != last
    assert link.status_ticks - last_ticks < SECOND // 5
    for kind in EACH:
        ticks = [ticks for ticks, _ in link.recent[kind]]
        assert ticks == sorted(set(ticks)) and len(ticks) <= RECENT
    assert link.latest[Kind.ANGLE][1] == pytest.approx(64 * 512, abs=200)


@pytest.mark.parametrize("lossy", [False, True])
def test_after_a_restart_every_channel_comes_again_by_itself(lossy: bool) -> None:
    board, _, link = jig_link()
    for kind in (Kind.LOAD, Kind.ANGLE):
        link.stream(kind, True)
    link.wait(1.0)
    if lossy:
        board.fault("lose_bytes", 0.005)
    board.fault("reset")
    link.wait(0.15)
    assert not link.latest and not link.recent[Kind.LOAD]
    link.wait(6.0 if lossy else 1.5)
    board.fault("lose_bytes", 0)
    found = _samples_in(link, 1.0)
    assert found[Kind.HEIGHT] == 0, "nobody asked for that one"
    assert min(found[Kind.LOAD], found[Kind.ANGLE]) > 70


def test_a_channel_whose_converter_is_silent_is_not_asked_for_without_end() -> None:
    board, _, link = jig_link()
    link.stream(Kind.LOAD, True)
    board.fault("load_missing")
    asked = link._seq
    link.wait(10.0)
    beats = 10.0 / 0.1
    assert link._seq - asked < beats + 15
    link.wait(100.0)
    assert len(link._replies) <= 50
    board.fault("load_missing", 0)
    link.wait(0.5)
    assert _samples_in(link, 1.0)[Kind.LOAD] > 70


def test_an_unknown_channel_is_refused(link: Link) -> None:
    reply = link.command(Op.STREAM, channel=Kind.STATUS, on=1)
    assert reply.reason is Reason.BAD_COMMAND
