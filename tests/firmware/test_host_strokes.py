"""The firmware's stroke machine as timelines: what counts, and what only looks like a stroke."""

import random

import pytest

from rig.board.wire import LIMITS, Stroke
from tests.firmware.strokes import FirmwareStrokes, Verdict
from tests.virtual.motions import Motions

STABLE = LIMITS["SWITCH_STABLE_MS"]
BITS = {"n": 1, "f": 2, "b": 3, "_": 0}


def judged(timeline: str, moving: bool = False) -> list[Verdict]:
    """Verdicts on `n100 _300 f100`: near, far, both or neither closed for so many ms."""
    parts = [(BITS[part[0]] | 4 * moving, int(part[1:])) for part in timeline.split()]
    times = [sum(ms for _, ms in parts[:i]) for i in range(len(parts) + 1)]
    first = parts[0][0]
    machine = FirmwareStrokes(bool(first & 1), bool(first & 2))
    return machine.play(times[:-1], [level for level, _ in parts], 0, times[-1])


def verdicts(timeline: str, moving: bool = False) -> list[Stroke]:
    return [verdict.verdict for verdict in judged(timeline, moving)]


@pytest.mark.parametrize(
    ("timeline", "told"),
    [
        ("n100 _300 f100 _300 n100", [Stroke.COUNTED]),
        ("n100 _300 f100 _300 n100 _300 f100 _300 n100", [Stroke.COUNTED] * 2),
        ("n100 _300 n100", [Stroke.PARTIAL]),
        ("n100 _50 f50 _50 n100", [Stroke.TOO_FAST]),
        ("n100 _5000 f100 _5000 n100", [Stroke.TOO_SLOW]),
        ("n100 _300 f100 _80 f90 _80 f100 _300 n100", [Stroke.COUNTED]),
        ("n100 b100 n100", [Stroke.BOTH_CLOSED]),
        ("n100 _300 f100 b100 n100 _300 f100 _300 n100", [Stroke.BOTH_CLOSED, Stroke.COUNTED]),
        ("n100 b6000 n100", [Stroke.BOTH_CLOSED, Stroke.STUCK]),
        ("n100 _300 f9000 _300 n100", [Stroke.COUNTED]),
    ],
)
def test_motions_are_told_apart(timeline: str, told: list[Stroke]) -> None:
    assert verdicts(timeline) == told


def test_nothing_counts_before_the_carriage_was_seen_home() -> None:
    assert verdicts("_500 f100 _300 n100 _300 f100 _300 n50") == [
        Stroke.WRONG_ORDER,
        Stroke.COUNTED,
    ]
    assert verdicts("f100 _300 n100 _300 n50") == [Stroke.PARTIAL]


def test_a_boot_half_way_gives_no_stroke_for_coming_home() -> None:
    assert verdicts("_500 n100") == []


def test_after_both_were_closed_the_far_switch_alone_is_out_of_order() -> None:
    told = verdicts("n100 b100 f100 _300 f100 _300 n100")
    assert told == [Stroke.BOTH_CLOSED, Stroke.WRONG_ORDER]


def test_a_verdict_comes_when_the_level_has_lasted_and_not_before() -> None:
    (told,) = judged("n100 _300 f100 _300 n100")
    assert told.ms == 800 + STABLE - 1
    assert verdicts(f"n100 _300 f100 _300 n{STABLE - 1} _40") == []
    assert verdicts(f"n100 _300 f100 _300 n{STABLE} _40") == [Stroke.COUNTED]


@pytest.mark.parametrize(("low", "high"), [(0, 1), (799, 800), (800, 801)])
def test_the_band_s_ends_belong_to_it(low: int, high: int) -> None:
    machine = FirmwareStrokes(True, False)
    assert machine.set_band(low, high)
    times, levels = [0, 100, 400, 500, 900], [1, 0, 2, 0, 1]
    (told,) = machine.play(times, levels, 0, 1000)
    expected = Stroke.COUNTED if low <= 800 <= high else Stroke.TOO_SLOW
    assert told.verdict is expected


def test_an_empty_band_is_refused_and_the_old_one_holds() -> None:
    machine = FirmwareStrokes(True, False)
    assert not machine.set_band(500, 500)
    (told,) = machine.play([0, 100, 400, 500, 900], [1, 0, 2, 0, 1], 0, 1000)
    assert told.verdict is Stroke.COUNTED


def test_a_switch_closed_for_too_long_is_stuck_only_while_the_drive_runs() -> None:
    long = LIMITS["SWITCH_STUCK_MS"] + 100
    for timeline in (f"n{long}", f"n100 _300 f{long}"):
        assert verdicts(timeline) == []
        assert verdicts(timeline, moving=True) == [Stroke.STUCK]
    assert verdicts(f"n100 _{long}", moving=True) == []


def test_a_stroke_longer_than_the_wire_has_room_for_is_too_slow_in_any_band() -> None:
    machine = FirmwareStrokes(True, False)
    machine.set_band(200, (1 << 14) - 1)
    times, levels = [0, 100, 40_000, 40_100, 80_000], [1, 0, 2, 0, 1]
    (told,) = machine.play(times, levels, 0, 80_100)
    assert told.verdict is Stroke.TOO_SLOW


@pytest.mark.parametrize("seed", range(20))
def test_bounce_chatter_spikes_and_hesitation_cost_no_stroke_and_add_none(seed: int) -> None:
    motions = Motions(random.Random(seed), start_s=0.1)
    for _ in range(200):
        motions.any()
    edges = motions.take()
    levels, closed = [1], {"NEAR": 1, "FAR": 0}
    for edge in edges:
        closed[edge.pin] = 1 - edge.level
        levels.append(closed["NEAR"] | closed["FAR"] << 1)
    phase = random.Random(seed).random()
    times = [0.0, *(edge.t_s * 1e3 + phase for edge in edges)]
    told = FirmwareStrokes(True, False).play(times, levels, 0, int(motions.t_s * 1e3) + 20)
    assert [verdict.verdict for verdict in told] == [verdict for _, verdict in motions.told]
    assert told[-1].number == motions.counted
