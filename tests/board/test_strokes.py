"""What STROKE and COUNTS frames tell, decoded; and the totals at hand in the link."""

import random
from dataclasses import asdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.link import Link
from rig.board.samples import capture
from rig.board.strokes import Counts, StrokeTold, counts, stroke
from rig.board.wire import DriveState, Kind, Op, Reason, Stroke
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.plant import Tower
from tests.board.streams import MS
from tests.virtual.carriage import ScriptedCarriage
from tests.virtual.motions import Motions

Codes = st.integers(*wire.LOAD_LIMITS)
STROKE = {"number": 7, "verdict": Stroke.COUNTED, "out_ms": 900, "back_ms": 800, "mean": -5}
STROKE |= {"peak": 70_000, "samples": 71, "saturated": 1}
COUNTS = {field.name: n for n, field in enumerate(wire.PAYLOADS[Kind.COUNTS])}
COUNTS |= {"counted": 100_000, "switches": 2, "drive": DriveState.RUNNING}
COUNTS |= {"drive_reason": Reason.RELEASED, "target_left": 900}


def framed(kind: Kind, seq: int, time: int, values: dict[str, int]) -> bytes:
    return wire.frame(kind, seq, time, wire.pack(wire.PAYLOADS[kind], values))


def decoded(kind: Kind, values: dict[str, int]) -> Frame:
    (frame,) = Decoder().feed(framed(kind, 0, 5 * MS, values))
    assert isinstance(frame, Frame)
    return frame


@given(Codes, Codes, st.integers(0, (1 << 28) - 1), st.sampled_from(Stroke))
def test_a_stroke_is_told_as_it_was_sent(mean: int, peak: int, number: int, kind: Stroke) -> None:
    values = STROKE | {"mean": mean, "peak": peak, "number": number, "verdict": kind}
    told = stroke(decoded(Kind.STROKE, values))
    assert told is not None
    assert asdict(told) == values | {"ticks": 5 * MS, "saturated": True}


def test_totals_are_told_with_switches_and_drive_apart() -> None:
    told = counts(decoded(Kind.COUNTS, COUNTS))
    assert told is not None
    assert (told.near, told.far) == (False, True)
    assert (told.drive, told.drive_reason) == (DriveState.RUNNING, Reason.RELEASED)
    named = {key: value for key, value in COUNTS.items() if key != "switches"}
    assert {key: getattr(told, key) for key in named} == named


def test_words_this_version_does_not_know_are_passed_over() -> None:
    assert stroke(decoded(Kind.STROKE, STROKE | {"verdict": 99})) is None
    assert counts(decoded(Kind.COUNTS, COUNTS | {"drive": 99})) is None
    assert counts(decoded(Kind.COUNTS, COUNTS | {"drive_reason": 99})) is None


def test_a_recorded_stretch_holds_its_strokes_in_order_and_the_last_totals() -> None:
    stream = [
        framed(Kind.STROKE, 0, 10 * MS, STROKE | {"number": 1}),
        framed(Kind.COUNTS, 1, 18 * MS, COUNTS | {"counted": 1}),
        framed(Kind.STROKE, 2, 60 * MS, STROKE | {"number": 1, "verdict": Stroke.PARTIAL}),
        framed(Kind.COUNTS, 3, 68 * MS, COUNTS | {"counted": 1, "partial": 1}),
    ]
    seen = capture(b"".join(stream))
    assert [(told.verdict, told.ticks) for told in seen.strokes] == [
        (Stroke.COUNTED, 10 * MS),
        (Stroke.PARTIAL, 60 * MS),
    ]
    assert isinstance(seen.strokes[0], StrokeTold) and isinstance(seen.counts, Counts)
    assert (seen.counts.ticks, seen.counts.partial) == (68 * MS, 1)
    assert (seen.gaps, seen.damaged) == ((), 0), "a stroke is told later than it was"


def test_a_stretch_without_any_has_none() -> None:
    seen = capture(b"")
    assert (seen.strokes, seen.counts) == ((), None)


# -- the link


def linked(carriage: ScriptedCarriage | None = None) -> tuple[StandIn, Link]:
    board = StandIn(Tower(), carriage=carriage)
    return board, Link(board, clock=board.clock, name="bench port")


def test_the_last_totals_are_at_hand_with_every_stroke_at_once() -> None:
    carriage = ScriptedCarriage()
    board, link = linked(carriage)
    assert link.counts is None
    motions = Motions(random.Random(1), board.now_s + 0.1)
    for done in range(1, 6):
        motions.full()
        carriage.play(motions.take())
        link.wait(motions.told[-1][0] - board.now_s + 0.02)
        assert link.counts is not None
        assert (link.counts.counted, link.counts.near) == (done, True)


def test_a_board_s_restart_is_told_and_its_totals_are_not_those_of_before() -> None:
    carriage = ScriptedCarriage()
    board, link = linked(carriage)
    motions = Motions(random.Random(1), board.now_s + 0.1)
    motions.full()
    carriage.play(motions.take())
    link.wait(motions.t_s - board.now_s + 0.1)
    before, boot = link.counts, link.boot
    assert before is not None and before.counted == 1
    board.fault("reset")
    link.wait(0.3)
    assert link.boot != boot
    assert link.counts is None, "the old ones are worth nothing"
    link.wait(0.6)
    assert link.counts is not None and link.counts.counted == 0


@pytest.mark.parametrize("how", ["exit", "stop"])
def test_a_program_that_ends_takes_the_arming_of_the_drive_with_it(how: str) -> None:
    board, link = linked(ScriptedCarriage())
    link.wait(0.3)
    assert link.command(Op.DRIVE_ARM, target=3).done
    if how == "exit":
        link.exit()
    else:
        assert link.command(Op.DRIVE_STOP).done
    board.clock.sleep(0.05)
    assert board._twin is not None
    drive = board._twin.drive
    assert (drive.state, drive.reason) == (DriveState.OFF, Reason.HOST_DISARM)
