"""The real image counts strokes at its pins: switches with all their faults, load beside them."""

import random
from itertools import pairwise

import pytest

from rig.board import wire
from rig.board.wire import LIMITS, Event, Kind, Op, Reason, Stroke
from tests.emulator.bench import bench, converter, load_all
from tests.emulator.figures import wander
from tests.virtual.carriage import ScriptedCarriage
from tests.virtual.motions import BOUNCE_S, CHATTER_S, Motions, SwitchEdge

PORTC, PORTD = 0x28, 0x2B
TICK_S = 1 / wire.TICK_HZ
# The timer starts within a millisecond of power-up; a level is seen by the next sample.
SOON_S = 1.1e-3


def clean(*steps: tuple[float, str, int]) -> list[SwitchEdge]:
    return [SwitchEdge(*step) for step in steps]


def stroke(at_s: float, out_s: float = 0.3, back_s: float = 0.3) -> list[SwitchEdge]:
    """One full stroke without a bounce."""
    there = at_s + out_s
    return clean(
        (at_s, "NEAR", 1), (there, "FAR", 0), (there + 0.1, "FAR", 1), (there + back_s, "NEAR", 0)
    )


@pytest.mark.parametrize("seed", [1, 2])
def test_every_full_stroke_and_no_other_motion_counts_with_all_streams_on(seed: int) -> None:
    carriage = ScriptedCarriage()
    b = bench(jig=True, carriage=carriage)
    load_all(b.host)
    motions = Motions(random.Random(seed), b.board.now_s + 0.05)
    for _ in range(60):
        motions.any()
    carriage.play(motions.take())
    wander(b.tower, b.board.now_s + 0.01, 16_033, 200_000)
    b.host.run(motions.t_s - b.board.now_s + 0.1)
    assert b.host.strokes() == [verdict for _, verdict in motions.told]
    for frame, (t_s, _) in zip(b.host.of(Kind.STROKE), motions.told, strict=True):
        assert abs(frame.time * TICK_S - t_s) <= BOUNCE_S + CHATTER_S, "the last one seen ends it"
    totals = b.host.counts()
    assert totals["counted"] == motions.counted
    assert totals["switches"] == 1
    assert b.host.gaps == 0


def test_the_totals_follow_each_stroke_at_once_and_come_twice_a_second_besides() -> None:
    carriage = ScriptedCarriage()
    b = bench(carriage=carriage)
    carriage.play(stroke(b.board.now_s + 0.6))
    b.host.run(3.0)
    (told,) = (i for i, frame in enumerate(b.host.frames) if frame.kind is Kind.STROKE)
    assert b.host.frames[told + 1].kind is Kind.COUNTS
    assert b.host.frames[told + 1].values["counted"] == 1
    regular = [
        frame.time
        for frame in b.host.of(Kind.COUNTS)
        if abs(frame.time - b.host.frames[told + 1].time) > 200
    ]
    period = LIMITS["COUNTS_PERIOD_MS"] * wire.TICK_HZ // 1000
    assert len(regular) >= 5
    assert all(abs(after - before - period) < 4_000 for before, after in pairwise(regular))


def test_edges_and_strokes_carry_the_time_at_which_the_level_began() -> None:
    carriage = ScriptedCarriage()
    b = bench(carriage=carriage)
    at = b.board.now_s + 0.0503
    edges = stroke(at, 0.4, 0.35)
    carriage.play(edges)
    b.host.run(1.2)
    events = [f for f in b.host.of(Kind.EVENT) if f.values["code"] in (Event.NEAR, Event.FAR)]
    told = [(Event(f.values["code"]).name, 1 - f.values["value"]) for f in events]
    assert told == [(edge.pin, edge.level) for edge in edges]
    for frame, edge in zip(events, edges, strict=True):
        assert abs(frame.time * TICK_S - edge.t_s) <= SOON_S
    (judged,) = b.host.of(Kind.STROKE)
    assert judged.time == events[-1].time
    assert judged.values["out_ms"] == pytest.approx(400, abs=1)
    assert judged.values["back_ms"] == pytest.approx(350, abs=1)
    assert judged.values["samples"] == judged.values["mean"] == 0, "no load was asked for"


def test_the_load_of_a_stroke_is_that_of_the_conversions_on_its_way_out() -> None:
    carriage = ScriptedCarriage()
    b = bench(jig=True, carriage=carriage)
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    begin = b.board.now_s + 0.2
    lengths = [0.3137 + 0.0031 * n for n in range(12)]
    for n, out_s in enumerate(lengths):
        carriage.play(stroke(begin + 1.3 * n, out_s))
    b.host.run(1.3 * len(lengths) + 0.5)
    given = converter(b).given
    frames = b.host.of(Kind.STROKE)
    assert len(frames) == len(lengths)
    for n, frame in enumerate(frames):
        left, arrived = begin + 1.3 * n, begin + 1.3 * n + lengths[n]
        sure = [code for t, code in given if left + 1.1e-3 < t < arrived]
        maybe = [code for t, code in given if left <= t < arrived + 1.1e-3]
        assert len(sure) <= frame.values["samples"] <= len(maybe)
        if len(sure) == len(maybe):
            assert frame.values["mean"] == sum(sure) // len(sure)
            assert frame.values["peak"] == max(sure, key=lambda code: abs(code - sure[0]))
        assert not frame.values["saturated"]
    assert sum(frame.values["samples"] for frame in frames) > 300


def test_saturated_codes_are_left_out_and_told() -> None:
    carriage = ScriptedCarriage()
    b = bench(jig=True, carriage=carriage)
    converter(b)._code = lambda n: wire.LOAD_LIMITS[n % 2] if n % 4 < 2 else -1000 - n % 2
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    carriage.play(stroke(b.board.now_s + 0.1, 1.0))
    b.host.run(2.0)
    (told,) = b.host.of(Kind.STROKE)
    assert told.values["saturated"] == 1
    assert 38 <= told.values["samples"] <= 43
    assert told.values["mean"] == -1001
    assert told.values["peak"] in (-1000, -1001)


@pytest.mark.parametrize(
    ("script", "told", "switches"),
    [
        (lambda t: clean((t, "FAR", 0)), [Stroke.BOTH_CLOSED, Stroke.STUCK], 3),
        (lambda t: clean((t, "NEAR", 1), (t + 0.4, "NEAR", 0)), [Stroke.PARTIAL], 1),
        (lambda t: stroke(t, 0.08, 0.11), [Stroke.TOO_FAST], 1),
        (lambda t: stroke(t, 5.0, 5.2), [Stroke.TOO_SLOW], 1),
        (
            lambda t: (
                clean(*((t + n, pin, 1 - level) for n, pin, level in ((0, "FAR", 1),)))
                + clean((t + 0.5, "NEAR", 1), (t + 1, "FAR", 1), (t + 1.5, "FAR", 0))
            ),
            [Stroke.BOTH_CLOSED, Stroke.WRONG_ORDER],
            2,
        ),
    ],
)
def test_what_is_not_a_full_stroke_is_told_and_totalled_by_its_kind(
    script: object, told: list[Stroke], switches: int
) -> None:
    carriage = ScriptedCarriage()
    b = bench(carriage=carriage)
    assert callable(script)
    carriage.play(script(b.board.now_s + 0.1))
    b.host.run(11.0)
    assert b.host.strokes() == told
    totals = b.host.counts()
    assert totals["counted"] == 0 and totals["switches"] == switches
    rejects = [kind for kind in Stroke if kind is not Stroke.COUNTED]
    assert {kind: totals[kind.name.lower()] for kind in rejects} == {
        kind: told.count(kind) for kind in rejects
    }


def test_the_band_can_be_set_is_refused_when_empty_and_falls_back_at_a_system_reset() -> None:
    carriage = ScriptedCarriage()
    b = bench(carriage=carriage)
    assert b.host.ask(Op.STROKES, min_ms=900, max_ms=900)["reason"] == Reason.BAD_WINDOW
    assert b.host.ask(Op.STROKES, min_ms=900, max_ms=2_000)["reason"] == Reason.NONE
    carriage.play(stroke(b.board.now_s + 0.1))
    b.host.run(1.0)
    b.board.write(b"\xff")
    carriage.play(stroke(b.board.now_s + 0.1))
    b.host.run(1.0)
    assert b.host.strokes() == [Stroke.TOO_FAST, Stroke.COUNTED]
    assert b.host.counts()["counted"] == 1, "no reset of the host's sets totals back"


def test_a_board_s_restart_begins_its_totals_again_under_another_number() -> None:
    carriage = ScriptedCarriage()
    b = bench(carriage=carriage)
    carriage.play(stroke(b.board.now_s + 0.1))
    b.host.run(1.0)
    before = b.host.status()["boot"]
    assert b.host.counts()["counted"] == 1
    b.board.reset()
    b.host.run(0.5)
    assert b.host.counts()["counted"] == 0
    assert b.host.status()["boot"] == before + 1


def test_strokes_are_counted_while_the_main_loop_stands_still_and_told_afterwards() -> None:
    carriage = ScriptedCarriage()
    b = bench(carriage=carriage)
    for n in range(3):
        carriage.play(stroke(b.board.now_s + 0.02 + 0.4 * n, 0.12, 0.18))
    for _ in range(6):
        b.board.stall(0.19)
        b.host.run(0.02)
    b.host.run(0.2)
    assert b.host.strokes() == [Stroke.COUNTED] * 3
    assert b.host.gaps == 0


def test_both_switch_pins_are_pulled_up_and_nothing_wired_counts_nothing() -> None:
    b = bench()
    assert b.board.chip.peek(PORTD) >> 7 & 1 and b.board.chip.peek(PORTC) >> 3 & 1
    b.host.run(6.0)
    assert b.host.strokes() == []
    assert b.host.counts()["switches"] == 0
