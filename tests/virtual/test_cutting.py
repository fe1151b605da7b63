"""The virtual cutting frame: switches as real ones are, strokes counted in truth, an edge worn."""

import math
import random
from itertools import pairwise

import numpy as np
import pytest

from rig.board.wire import LIMITS
from rig.virtual.frame.hands import CuttingHands
from rig.virtual.frame.plant import FAULTS, CuttingFrame, Draw, FrameTruth
from rig.virtual.frame.wear import CuttingEdge, WearTruth, blade_wear, fresh_edge, harshness
from rig.virtual.tower.plant import Edge

STABLE_S = 8e-3


def run(frame: CuttingFrame, until_s: float) -> list[Edge]:
    """Advance as a board does, a millisecond at a time; every pin change."""
    found: list[Edge] = []
    for _ in range(math.ceil((until_s - frame.now_s) * 1000)):
        frame.advance(min(frame.now_s + 1e-3, until_s))
        found += frame.take_edges()
    return found


def believed(edges: list[Edge], pin: str, start: int) -> list[tuple[float, int]]:
    """Levels that held 8 ms, with the times they began: a plain debouncer of the test's own."""
    own = [(-1.0, start), *((e.t_s, e.level) for e in edges if e.pin == pin), (1e9, -1)]
    held = [(t, level) for (t, level), (after, _) in pairwise(own) if after - t >= STABLE_S]
    return [b for a, b in pairwise(held) if a[1] != b[1]]


def counted(edges: list[Edge]) -> int:
    """Near, far, near again, by the debounced levels alone."""
    events = sorted(
        [(t, "near", level) for t, level in believed(edges, "NEAR", 0)]
        + [(t, "far", level) for t, level in believed(edges, "FAR", 1)]
    )
    count, out = 0, False
    for _, which, level in events:
        if which == "far" and level == 0:
            out = True
        elif which == "near" and level == 0:
            count, out = count + out, False
    return count


def test_full_partial_and_hesitant_strokes_are_what_the_debounced_switches_tell() -> None:
    frame = CuttingFrame(seed=3)
    hands = CuttingHands(frame, 3)
    hands.partial, hands.hesitant = 0.2, 0.2
    end = hands.act("strokes", {"count": 30})
    edges = run(frame, end + 0.1)
    assert 15 < frame.strokes < 30
    assert counted(edges) == frame.strokes


def test_contacts_bounce_for_less_than_the_board_believes() -> None:
    frame = CuttingFrame(seed=1)
    edges = run(frame, frame.draw(*[Draw()] * 10) + 0.1)
    assert len(edges) > 60, "forty changes, and their bounces"
    for pin in ("NEAR", "FAR"):
        times = [e.t_s for e in edges if e.pin == pin]
        bursts = np.split(np.array(times), np.flatnonzero(np.diff(times) > 0.1) + 1)
        assert all(burst[-1] - burst[0] <= frame.nature.bounce_s for burst in bursts)
    assert [e.t_s for e in edges] == sorted(e.t_s for e in edges)


def test_chatter_of_the_contacts_is_shorter_than_what_the_board_believes() -> None:
    frame = CuttingFrame(seed=2)
    frame.fault("switch_chatter")
    edges = run(frame, frame.draw(*[Draw()] * 10) + 0.1)
    assert len(edges) > 150
    assert counted(edges) == frame.strokes == 10


@pytest.mark.parametrize(
    ("fault", "home", "end"),
    [
        ("near_stuck", (0, 1), (0, 0)),
        ("near_broken", (1, 1), (1, 0)),
        ("far_stuck", (0, 0), (1, 0)),
        ("far_broken", (0, 1), (1, 1)),
        ("switches_swapped", (1, 0), (0, 1)),
    ],
)
def test_a_fault_shows_at_the_pins(fault: str, home: tuple[int, int], end: tuple[int, int]) -> None:
    frame = CuttingFrame(seed=1)
    frame.fault(fault)
    assert (frame.levels()["NEAR"], frame.levels()["FAR"]) == home
    run(frame, frame.draw(Draw((0.0, 1.0), 0.8, 0.1)) + 0.1)
    assert (frame.levels()["NEAR"], frame.levels()["FAR"]) == end


def test_the_motor_makes_a_stroke_a_turn_and_stops_soon_after_its_power_went() -> None:
    frame = CuttingFrame(FrameTruth(turn_s=1.0), seed=1)
    frame.set_output("DRIVE", True, frame.now_s)
    edges = run(frame, 5.3)
    assert frame.strokes == 5 == counted(edges)
    frame.loop(False, frame.now_s)
    run(frame, 5.6)
    still = frame.place_m(frame.now_s)
    assert 0 < still < frame.nature.length_m
    run(frame, 7.0)
    assert frame.place_m(frame.now_s) == still
    frame.loop(True, frame.now_s)
    run(frame, 8.5)
    assert frame.place_m(frame.now_s) != still, "the pin was left on: it runs on, as a real one"


def test_a_blocked_crank_moves_nothing() -> None:
    frame = CuttingFrame()
    frame.fault("drive_stalls")
    frame.set_output("DRIVE", True, 0.0)
    assert run(frame, 2.0) == []


def test_nothing_changes_before_the_frame_says_so() -> None:
    frame = CuttingFrame(seed=5)
    end = frame.draw(*[Draw()] * 3)
    while frame.now_s < end:
        quiet = min(frame.quiet_until_s, end + 1)
        before = frame.levels()
        frame.advance(quiet - 1e-9)
        assert frame.take_edges() == [] and frame.levels() == before
        frame.advance(quiet + 1e-6)
        frame.take_edges()
    assert frame.strokes == 3


def test_the_cell_feels_the_cut_on_the_way_out_only_and_more_with_each_hundred_cuts() -> None:
    frame = CuttingFrame(seed=1)
    frame.mount(CuttingEdge(WearTruth(), random.Random(0)))
    peaks = []
    for _ in range(3):
        assert frame.edge is not None
        end = frame.draw(Draw(lasts_s=1.6, pause_s=0.3))
        start = frame.now_s
        frame.advance(end)
        frame.take_edges()
        t = np.arange(start, end, 1e-3)
        force = (frame.bridge_ratio(t) - frame.nature.zero) / 2e-3 * 200
        assert force[t > start + 0.3 + 0.8].max() == 0.0, "nothing on the way back"
        peaks.append(force.max())
        frame.edge.cuts += 100
    assert peaks[0] < peaks[1] < peaks[2]


def test_wear_goes_by_its_power_and_its_life_is_where_a_place_needs_the_limit() -> None:
    truth = WearTruth()
    edge = fresh_edge("A1", truth=truth)
    edge.cuts = truth.life_cuts(0.95)
    own = edge.places[0]
    assert edge.severing_n(0) / own == pytest.approx(0.95)
    assert fresh_edge("A1", truth=truth).passes("shave", 0)
    edge.cuts *= 1.5
    assert not edge.passes("shave", 0) and edge.passes("paper", 0)


def test_a_chip_is_sudden_and_takes_one_place() -> None:
    edge = fresh_edge("A1", truth=WearTruth(chip_per_cut=1.0))
    before = [edge.severing_n(place) for place in range(3)]
    edge.cut()
    lost = [edge.severing_n(place) / old for place, old in enumerate(before)]
    assert sorted(lost)[2] > 2.9 and sorted(lost)[1] < 1.2
    assert edge.look() == "chipped"


def test_blades_and_sheets_scatter_and_keep_their_names() -> None:
    lives = [blade_wear(f"A{n}").life_cuts(0.95) for n in range(200)]
    cv = np.std(np.log(lives))
    assert 0.1 < cv < 0.35
    assert blade_wear("A1") == blade_wear("A1") != blade_wear("A2")
    sheets = [harshness(f"sheet {n}") for n in range(400)]
    assert np.mean(sheets) == pytest.approx(1.0, abs=0.02) and 0.08 < np.std(sheets) < 0.12


def test_a_blade_mounted_again_has_the_edge_it_had() -> None:
    frame = CuttingFrame()
    hands = CuttingHands(frame)
    hands.act("mount", {"specimen": "K3"})
    first = frame.edge
    hands.act("mount", {"specimen": "control"})
    assert frame.edge is not first
    hands.act("mount", {"specimen": "K3"})
    assert frame.edge is first
    assert set(hands.look()) >= {"shave_3", "paper_3", "severing", "edge_look"}


def test_every_fault_has_a_name_that_is_known() -> None:
    frame = CuttingFrame()
    for name in FAULTS:
        frame.fault(name)
        frame.fault(name, on=False)
    with pytest.raises(ValueError, match="no fault"):
        frame.fault("gremlins")


def test_the_board_s_limit_is_the_one_the_switches_are_made_for() -> None:
    assert LIMITS["SWITCH_STABLE_MS"] / 1e3 == STABLE_S > FrameTruth().bounce_s
