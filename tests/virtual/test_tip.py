"""Tips and edges in wood against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.virtual.arm.relaxation import relax
from rig.virtual.arm.slot import SlotEdge
from rig.virtual.arm.tip import Curve, Tip
from rig.virtual.arm.truth import EdgeTruth, Failure, TipTruth, turned_beam_nm_per_rad
from tests.published import load

TOOL = 400.0
NEVER = replace(TipTruth(), kind=Failure.BEND)
STRAIGHT = replace(NEVER, toe_rad=0.0, yield_nm=50.0, plateau_nm=60.0)


def turned(tip: Tip, degrees: float, points: int = 4001) -> tuple[np.ndarray, np.ndarray]:
    angle = np.linspace(0.0, math.radians(degrees), points)
    return angle, tip.respond(angle).torque


def test_a_beam_turned_at_its_end_is_as_stiff_as_the_handbooks_cantilever_says() -> None:
    # Deflection and slope of an end load: Roark table 8.1 case 1a (cantilever_bending.json). By
    # reciprocity the end moment's deflection is M times the load's slope; its slope is M l/EI.
    told = load("cantilever_bending")
    inputs, expected = told["inputs"], told["expected"]
    force, length = inputs["F_N"], inputs["L_mm"] / 1e3
    bending = inputs["E_MPa"] * 1e6 * expected["I_mm4"] * 1e-12
    per_force = np.array([expected["delta_mm"] / 1e3, expected["slope_rad"]]) / force
    per_moment = np.array([expected["slope_rad"] / force, length / bending])
    load_and_moment = np.linalg.solve(np.column_stack([per_force, per_moment]), [length, 1.0])
    torque = load_and_moment @ [length, 1.0]
    ours = turned_beam_nm_per_rad(
        inputs["E_MPa"] * 1e6, inputs["b_mm"] / 1e3, inputs["h_mm"] / 1e3, length
    )
    assert ours == pytest.approx(torque, rel=2e-5)


def test_tip_wood_and_tool_give_way_in_series() -> None:
    angle, torque = turned(Tip(STRAIGHT, TOOL, 0.0), 20.0)
    parts = (STRAIGHT.stiffness_nm_per_rad, STRAIGHT.wood_nm_per_rad, TOOL)
    assert torque[-1] == pytest.approx(angle[-1] / sum(1 / k for k in parts), rel=1e-9)


def test_a_toe_shifts_the_straight_part_by_its_angle_and_keeps_its_slope() -> None:
    tip = Tip(replace(STRAIGHT, toe_rad=0.01), TOOL, 0.0)
    angle, torque = turned(tip, 10.0)
    late = angle > 0.05
    slope, at_zero = np.polyfit(angle[late], torque[late], 1)
    assert slope == pytest.approx(tip.curve.series, rel=1e-5)
    assert -at_zero / slope == pytest.approx(0.01, rel=1e-3)


@given(st.floats(0.1, 2.0), st.floats(1.05, 2.0), st.floats(0.02, 0.2))
def test_the_onset_is_where_the_curve_meets_its_shifted_straight_part(
    yield_share: float, rise: float, spread: float
) -> None:
    low = 4.0 * yield_share
    truth = replace(NEVER, yield_nm=low, plateau_nm=low * rise, spread_rad=spread)
    curve = Curve(truth, TOOL)
    offset = math.radians(0.5)
    angle = np.linspace(0.0, 1.5, 200_001)
    torque = Tip(truth, TOOL, 0.0).respond(angle).torque
    shifted = curve.series * (angle - truth.toe_rad - offset)
    meets = torque[np.flatnonzero(shifted >= torque)[0]]
    toe_left = math.exp(-low / truth.toe_nm)  # with the weakest tips it is not quite used up
    assert meets == pytest.approx(curve.bend_nm(offset), rel=2e-4 + 0.2 * toe_left)


@given(st.floats(-40.0, 40.0), st.floats(0.0, 40.0))
def test_turned_back_a_tip_springs_by_its_straight_stiffness_and_keeps_its_bend(
    seat_deg: float, to_deg: float
) -> None:
    seat = math.radians(seat_deg)
    tip = Tip(replace(NEVER, toe_rad=0.0), TOOL, seat)
    way = seat + np.linspace(0.0, math.radians(to_deg), 2000)
    out, back = tip.respond(way).torque, tip.respond(way[::-1]).torque
    assert out[-1] == pytest.approx(back[0])
    end = tip.angle_at(0.0) - seat
    assert end == pytest.approx(tip.bend_rad)
    assert way[-1] - seat - out[-1] / tip.curve.series == pytest.approx(tip.bend_rad, abs=1e-5)


@given(st.integers(2, 400))
def test_a_path_in_pieces_gives_what_the_whole_path_gives(cut: int) -> None:
    t = np.linspace(0.0, 1.0, 402)
    angle = 0.6 * t + 0.05 * np.sin(40 * t)
    for kind in (Failure.SNAP, Failure.SLIP, Failure.BEND):
        whole, parts = (Tip(TipTruth(kind=kind), TOOL, 0.0) for _ in range(2))
        first, second = parts.respond(angle[:cut]), None
        if not (parts.broken and kind is Failure.SNAP):
            second = parts.respond(angle[cut:])
        joined = first.torque if second is None else np.append(first.torque, second.torque)
        assert joined == pytest.approx(whole.respond(angle).torque, rel=1e-9)
        assert parts.bend_rad == pytest.approx(whole.bend_rad)


def test_a_tip_snaps_where_its_curve_reaches_the_failure_torque() -> None:
    for fails in (3.0, 7.2):  # below and above yield
        tip = Tip(TipTruth(fails_nm=fails), TOOL, 0.0)
        _, torque = turned(tip, 40.0)
        assert tip.broken
        assert torque[-1] == pytest.approx(fails, rel=5e-3)
        assert torque.max() < fails


def test_a_slip_costs_torque_once_and_leaves_the_stiffness() -> None:
    truth = TipTruth(kind=Failure.SLIP, fails_nm=3.0, toe_rad=0.0)
    tip = Tip(truth, TOOL, 0.0)
    angle, torque = turned(tip, 9.0)
    (at,) = np.flatnonzero(np.diff(torque) < 0)
    fell = torque[at] - torque[at + 1]
    assert fell == pytest.approx(tip.curve.series * truth.slip_rad, rel=2e-3)
    slopes = np.diff(torque) / np.diff(angle)
    assert slopes[at - 5] == pytest.approx(slopes[at + 5], rel=1e-6)
    assert not tip.broken and tip.set_rad == truth.slip_rad


def test_a_stump_holds_a_little_against_every_motion() -> None:
    tip = Tip(TipTruth(), TOOL, 0.0)
    turned(tip, 40.0)
    limit = tip.truth.left_share * tip.truth.fails_nm
    angle = np.linspace(0.3, -0.3, 1000)
    torque = tip.respond(angle).torque
    assert torque[-1] == pytest.approx(-limit, rel=1e-3)
    assert np.abs(torque).max() <= limit * 1.0001


def test_tips_pried_to_either_side_answer_alike() -> None:
    right, left = Tip(TipTruth(), TOOL, 0.0), Tip(TipTruth(), TOOL, 0.0)
    left.sign = -1
    angle = np.linspace(0.0, 0.5, 500)
    assert left.respond(-angle).torque == pytest.approx(-right.respond(angle).torque)


# -- the edge in its slot


def swung(edge: SlotEdge, degrees: float, cycles: int) -> tuple[np.ndarray, np.ndarray]:
    angle = math.radians(degrees) * np.sin(np.linspace(0, 2 * math.pi * cycles, 2000 * cycles + 1))
    return angle, edge.respond(angle)


def test_an_edge_without_damage_takes_four_times_friction_times_amplitude_a_cycle() -> None:
    truth = EdgeTruth(damage_per_cycle=0.0, friction_span_rad=1e-4)
    edge = SlotEdge(truth, 0.0)
    angle, torque = swung(edge, 10.0, 2)
    second = slice(2000, None)
    work = np.trapezoid(torque[second], angle[second])
    assert work == pytest.approx(4 * truth.friction_nm * math.radians(10.0), rel=1e-2)
    assert torque.max() == pytest.approx(
        truth.stiffness_nm_per_rad * math.radians(10.0) + truth.friction_nm, rel=1e-3
    )


def test_damage_of_one_cycle_counts_at_the_reference_and_grows_with_the_square() -> None:
    truth = EdgeTruth()
    for degrees, share in ((10.0, 1.0), (20.0, 4.0)):
        edge = SlotEdge(truth, 0.0)
        swung(edge, degrees, 3)
        assert edge.damage == pytest.approx(3 * share * truth.damage_per_cycle, rel=1e-3)
    assert 0 < edge.affected_m < truth.length_m


# -- states that follow


@given(
    st.floats(-1, 1),
    st.lists(st.tuples(st.floats(-1, 1), st.floats(0, 30)), min_size=1, max_size=60),
)
def test_a_whole_trace_relaxes_as_step_by_step(
    start: float, steps: list[tuple[float, float]]
) -> None:
    targets, amounts = (np.array(part) for part in zip(*steps, strict=True))
    z, wanted = start, []
    for target, amount in steps:
        z = target + (z - target) * math.exp(-amount)
        wanted.append(z)
    assert relax(start, targets, amounts) == pytest.approx(np.array(wanted), abs=1e-9)
