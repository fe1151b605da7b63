"""A drop's numbers, against published formulae and exact motion."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.board.wire import TICK_HZ
from rig.errors import RigError
from rig.measure.budget import Input
from rig.measure.drop.evaluate import DropResult, evaluate_drop
from rig.measure.drop.facts import gate_ticks
from rig.measure.drop.height import change_reasons, effective_acceleration, height_for_energy
from tests.measure.traces import SCALE_M, Truth, facts, heights, record
from tests.published import load


@pytest.mark.parametrize("case", [0, 1])
def test_a_free_fall_gives_the_published_speed_and_energy(case: int) -> None:
    # ISO 6603-2 gives 4.4 m/s for 1 m; elementary mechanics for the digits
    published = load("drop_velocity_energy")
    given_ = published["inputs"]["cases"][case]
    g = published["inputs"]["g"]
    truth = Truth(height_m=given_["H_m"], a_m_s2=g, a_up_m_s2=g)
    bench = facts(mass=Input("mass", given_["m_kg"], 1e-6, unit="kg"))
    result = evaluate_drop(record(truth), bench)
    speed, energy = result["impact_speed"], result["impact_energy"]
    assert speed.value == pytest.approx(published["expected"]["v"][case], rel=1e-3)
    assert energy.value == pytest.approx(published["expected"]["E"][case], rel=2e-3)
    nominal = result["nominal_energy"]
    assert nominal.value == pytest.approx(published["expected"]["E"][case], rel=1e-3)
    assert abs(speed.value - published["expected"]["v"][case]) <= 1.5 * speed.U + 6e-5


def test_restitution_is_the_root_of_the_height_ratio() -> None:
    # Elementary mechanics: e = sqrt(h/H), energy not returned m g (H - h)
    published = load("restitution")
    given_, g = published["inputs"], 9.80665
    ratio = math.sqrt(given_["h_m"] / given_["H_m"])
    truth = Truth(given_["H_m"], a_m_s2=g, a_up_m_s2=g, restitution=ratio)
    bench = facts(mass=Input("mass", given_["m_kg"], 1e-6, unit="kg"))
    result = evaluate_drop(record(truth), bench)
    expected = published["expected"]
    assert result["restitution"].value == pytest.approx(expected["e_quarter"], abs=2e-3)
    lost = result["energy_not_returned"]
    assert lost.value == pytest.approx(expected["absorbed_J"], rel=3e-3)


def test_the_gate_follows_the_flag_timing_formula() -> None:
    # ASTM D7136: v_i = W/(t2 - t1) + g (t_i - (t1 + t2)/2), here with its own example's motion
    published = load("impact_velocity_flag_timing")
    given_ = published["inputs"]
    speed, g = published["expected"]["v_i"], given_["g"]
    truth = Truth(height_m=speed**2 / (2 * g), a_m_s2=g)
    _, _, struck = heights(truth)
    edges = tuple(
        round((struck - given_["ti_s"] + given_[t]) * TICK_HZ) + 12_345 for t in ("t1_s", "t2_s")
    )
    bench = facts(flag=Input("flag", given_["W12_m"], 1e-6, unit="m"))
    result = evaluate_drop(record(truth, gate_ticks=edges), bench)
    assert result["gate_speed"].value == pytest.approx(speed, rel=2e-4)
    assert not result.reasons


@settings(max_examples=60)
@given(
    st.floats(0.1, 0.8),
    st.floats(7.0, 12.5),
    st.floats(0.2, 0.6),
    st.floats(0, 1, exclude_max=True),
    st.booleans(),
)
def test_an_exact_parabola_is_recovered_within_five_u(
    height: float, a: float, restitution: float, phase: float, caught: bool
) -> None:
    truth = Truth(height, a, a + 0.6, restitution, caught, phase=phase, still_s=0.1)
    # 50 kg: neither spring nor drag bends its fall, and that is known beforehand.
    heavy = facts(mass=Input("mass", 50.0, 0.001, unit="kg"))
    result = evaluate_drop(record(truth), heavy)
    rebound = restitution * truth.speed
    exact = {"impact_speed": truth.speed, "impact_energy": 25 * truth.speed**2}
    exact |= {"rebound_speed": rebound, "restitution": restitution}
    if not caught:
        back = rebound * math.sqrt(a / (a + 0.6))
        exact |= {"second_strike_speed": back, "second_strike_energy": 25 * back**2}
    # Five u: the search is after the worst meeting of positions and counting edges.
    for name, value in exact.items():
        found = result[name]
        assert abs(found.value - value) <= 5 * found.u, name
    assert result.caught is caught


@settings(max_examples=30)
@given(st.integers(-(2**33), 2**33), st.integers(-10_000, 10_000))
def test_neither_a_shift_of_time_nor_of_counts_changes_a_result(ticks: int, counts: int) -> None:
    plain = record(Truth(caught=False))
    contact = replace(plain.contact, value=plain.contact.value + counts)
    shifted = replace(
        plain, ticks=plain.ticks + ticks, counts=plain.counts + counts, contact=contact
    )
    one, other = evaluate_drop(plain, facts()), evaluate_drop(shifted, facts())
    assert one.measurands.keys() == other.measurands.keys()
    for name, measurand in one.measurands.items():
        assert other[name].value == pytest.approx(measurand.value, rel=1e-9)
        assert other[name].u == pytest.approx(measurand.u, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "factor", "power"),
    [("scale", 1.01, 2), ("mass", 1.01, 1), ("time_base", 1.01, -2)],
)
def test_energy_scales_with_each_fact(name: str, factor: float, power: int) -> None:
    plain = facts()
    given_ = getattr(plain, name)
    changed = replace(plain, **{name: replace(given_, value=given_.value * factor)})
    one = evaluate_drop(record(), plain)["impact_energy"].value
    other = evaluate_drop(record(), changed)["impact_energy"].value
    # Not to the last digit: what is known of the spring beforehand goes with the mass.
    assert other / one == pytest.approx(factor**power, rel=1e-4)


def test_each_row_of_the_energy_budget_has_the_right_slope() -> None:
    energy = evaluate_drop(record(), facts())["impact_energy"]
    slopes = {row.name: row.sensitivity * row.value / energy.value for row in energy.rows}
    assert slopes["mass"] == pytest.approx(1, rel=1e-6)
    assert slopes["scale"] == pytest.approx(2, rel=1e-6)
    assert slopes["time_base"] == pytest.approx(-2, rel=1e-6)
    assert slopes["fit"] == pytest.approx(2, rel=1e-6)
    row = next(row for row in energy.rows if row.name == "contact")
    # A contact height higher by d metres takes m a d from the energy.
    assert row.sensitivity / SCALE_M == pytest.approx(-2.0 * 11.5, rel=0.02)


def test_the_same_record_gives_the_same_bytes() -> None:
    made = [json.dumps(evaluate_drop(record(), facts()).to_dict()) for _ in range(2)]
    assert made[0] == made[1]


@pytest.mark.parametrize("caught", [True, False])
def test_a_result_survives_json_unchanged(caught: bool) -> None:
    result = evaluate_drop(record(Truth(caught=caught)), facts())
    assert DropResult.from_dict(json.loads(json.dumps(result.to_dict()))) == result


def test_the_total_is_the_sum_of_the_blows() -> None:
    result = evaluate_drop(record(Truth(caught=False, restitution=0.4)), facts())
    assert result.figures["strikes"] >= 3
    two = result["impact_energy"].value + result["second_strike_energy"].value
    assert two < result["total_energy"].value < 1.05 * two


def test_a_dead_strike_bounds_the_rebound_instead_of_inventing_one() -> None:
    result = evaluate_drop(record(Truth(restitution=0.0)), facts())
    rebound = result["rebound_speed"]
    highest = math.sqrt(2 * 11.5 * 0.002)
    assert rebound.value == pytest.approx(highest / 2, rel=0.02)
    assert rebound.u == pytest.approx(highest / math.sqrt(12), rel=0.02)
    assert "no rise" in rebound.rows[0].source


def test_the_first_whole_passage_of_the_flag_is_taken() -> None:
    edges = [(5, 0), (10, 1), (20, 0), (30, 1), (40, 0)]
    assert gate_ticks(edges, 0, 100) == (10, 20)
    assert gate_ticks(edges, 15, 100) == (30, 40)
    assert gate_ticks(edges, 15, 35) is None


def empty_drops(height: float = 0.25, a: float = 11.5) -> list[DropResult]:
    phases = np.linspace(0.05, 0.95, 5)
    truths = [Truth(height_m=height, a_m_s2=a, phase=float(phase)) for phase in phases]
    return [evaluate_drop(record(truth), facts()) for truth in truths]


def test_empty_drops_give_the_effective_acceleration_and_the_height_for_an_energy() -> None:
    a_eff = effective_acceleration(empty_drops(), facts())
    assert abs(a_eff.value - 11.5) <= a_eff.U
    assert 0.01 * a_eff.value > a_eff.U
    height = height_for_energy(5.0, facts().mass, a_eff)
    assert height.value == pytest.approx(5.0 / (2.0 * 11.5), rel=0.005)
    assert height.u / height.value == pytest.approx(
        math.hypot(a_eff.u / a_eff.value, 0.001), rel=0.01
    )


def test_a_tower_that_changed_by_three_percent_is_flagged() -> None:
    chart = effective_acceleration(empty_drops(), facts())
    slower = effective_acceleration(empty_drops(a=11.5 * 0.97), facts())
    assert [r.name for r in change_reasons(slower, chart, 0.02)] == ["tower_changed"]
    assert not change_reasons(chart, chart, 0.02)


def test_too_few_empty_drops_are_refused() -> None:
    with pytest.raises(RigError, match="1 empty drops"):
        effective_acceleration(empty_drops()[:1], facts())
    with pytest.raises(RigError, match="drop 2 has no speed"):
        effective_acceleration([*empty_drops()[:1], DropResult()], facts())


def test_a_bounce_too_low_to_fit_is_told_from_its_apex() -> None:
    truth = Truth(restitution=0.13)
    result = evaluate_drop(record(truth), facts())
    rebound = result["rebound_speed"]
    assert "apex" in rebound.rows[0].source
    assert abs(rebound.value - 0.13 * truth.speed) <= rebound.U
    assert rebound.u < 0.08 * rebound.value
