"""Each thing that makes a drop invalid is named, and nothing else is."""

import math
from dataclasses import replace

import numpy as np
import pytest

from rig.board.wire import TICK_HZ
from rig.measure.budget import Input
from rig.measure.drop.checks import gate_reasons
from rig.measure.drop.evaluate import DropResult, evaluate_drop
from rig.measure.drop.facts import Asked, DropRecord
from tests.measure.traces import Truth, facts, heights, record


def names(result: DropResult) -> list[str]:
    return [reason.name for reason in result.reasons]


def run(made: DropRecord, asked: Asked | None = None) -> list[str]:
    return names(evaluate_drop(made, facts(), asked))


def test_a_good_drop_has_no_reasons() -> None:
    energy = 2.0 * 11.5 * 0.25
    assert run(record(), Asked(energy_j=energy, height_m=0.25)) == []


def test_a_gap_in_the_frames_makes_the_drop_invalid() -> None:
    made = record()
    kept = np.r_[0:150, 160 : len(made.ticks)]
    holed = replace(made, ticks=made.ticks[kept], counts=made.counts[kept])
    result = evaluate_drop(holed, facts())
    assert names(result) == ["lost_frames"]
    assert result.reasons[0].figure == 11  # the step that replaces ten samples and itself
    assert run(record(lost_frames=1)) == ["lost_frames"]


def test_a_turn_of_an_encoder_fault_counter_makes_the_drop_invalid() -> None:
    assert run(record(illegal_edges=1)) == ["encoder_faults"]
    assert run(record(missed_samples=1)) == ["encoder_faults"]


def test_an_opened_guard_makes_the_drop_invalid() -> None:
    assert run(record(guard_opened=True)) == ["guard_opened"]


@pytest.mark.parametrize("a", [5.5, 13.5])
def test_a_fall_outside_the_tower_s_band_makes_the_drop_invalid(a: float) -> None:
    assert run(record(Truth(a_m_s2=a))) == ["friction_band"]


def test_energy_off_target_makes_the_drop_invalid() -> None:
    energy = 2.0 * 11.5 * 0.25
    assert run(record(), Asked(energy_j=energy * 1.04)) == ["energy_off_target"]
    assert run(record(), Asked(energy_j=energy * 1.04, tolerance=0.05)) == []


def test_a_release_outside_its_band_makes_the_drop_invalid() -> None:
    assert run(record(), Asked(height_m=0.252, band_m=0.0015)) == ["release_height"]


def test_a_second_strike_makes_the_drop_invalid_unless_allowed() -> None:
    made = record(Truth(caught=False))
    assert run(made) == ["second_strike"]
    assert run(made, Asked(second_strike_allowed=True)) == []


def test_a_carriage_set_down_by_hand_after_the_catch_is_no_second_strike() -> None:
    made = record()
    low = np.linspace(float(made.counts[-1]), made.contact.value, 400).astype(np.int64)
    rest = np.full(200, round(made.contact.value))
    counts = np.r_[made.counts, low, rest]
    ticks = made.ticks[0] + 2000 * np.arange(len(counts))
    result = evaluate_drop(replace(made, counts=counts, ticks=ticks), facts())
    assert names(result) == [] and result.caught


def test_a_contact_height_that_moved_makes_the_drop_invalid() -> None:
    made = record()
    after = replace(made.contact, value=made.contact.value - 8)
    assert run(replace(made, contact_after=after)) == ["specimen_slipped"]
    assert run(replace(made, contact_after=made.contact)) == []


def test_a_final_rest_below_contact_makes_the_drop_invalid() -> None:
    made = record(Truth(restitution=0.0))
    _, _, struck = heights(Truth(restitution=0.0))
    sunk = made.counts.copy()
    sunk[round(struck * 1000) + 2 :] -= 8
    assert run(replace(made, counts=sunk)) == ["specimen_slipped"]


def test_a_specimen_higher_than_told_gives_no_number() -> None:
    made = record(Truth(restitution=0.0))
    wrong = replace(made.contact, value=made.contact.value - 3)
    assert "impact_energy" in evaluate_drop(replace(made, contact=wrong), facts()).measurands
    # Now 20 mm wrong: the record stands still 20 mm above the contact it was told.
    wrong = replace(made.contact, value=made.contact.value - 80)
    result = evaluate_drop(replace(made, contact=wrong), facts())
    assert names(result) == ["no_strike"] and not result.measurands


def test_no_strike_gives_a_reason_and_no_number() -> None:
    made = record()
    held = replace(made, counts=np.full_like(made.counts, made.counts[0]))
    for result in (evaluate_drop(held, facts()), _stuck_half_way()):
        assert names(result) == ["no_strike"] and not result.measurands


def test_an_empty_record_gives_a_reason_and_no_number() -> None:
    none = np.array([], dtype=np.int64)
    result = evaluate_drop(replace(record(), ticks=none, counts=none), facts())
    assert names(result) == ["no_strike"] and not result.measurands


def _stuck_half_way() -> DropResult:
    made = record()
    return evaluate_drop(replace(made, counts=np.maximum(made.counts, 500)), facts())


def test_a_jerky_fall_gives_a_reason_and_no_number() -> None:
    made = record()
    jerky = made.counts + (3 * np.sin(np.arange(len(made.counts)) / 4)).astype(np.int64)
    result = evaluate_drop(replace(made, counts=jerky), facts())
    assert "not_free_fall" in names(result) and not result.measurands


def test_a_gate_that_disagrees_makes_the_drop_invalid() -> None:
    truth = Truth()

    def edge(above_m: float) -> int:
        fallen = math.sqrt(2 * (truth.height_m - above_m) / truth.a_m_s2)
        return int((truth.before_s + fallen) * TICK_HZ) + 12_345

    made = record(truth, gate_ticks=(edge(0.016), edge(0.006)))
    right = facts(flag=Input("flag", 0.010, 2e-5, unit="m"))
    wrong = facts(flag=Input("flag", 0.0102, 2e-5, unit="m"))
    assert names(evaluate_drop(made, right)) == []
    assert names(evaluate_drop(made, wrong)) == ["gate_disagrees"]


@pytest.mark.parametrize(
    ("score", "named"), [(-3.1, True), (-2.9, False), (2.9, False), (3.1, True)]
)
def test_gate_and_fit_disagree_beyond_a_zeta_score_of_three(score: float, named: bool) -> None:
    # ISO 13528, zeta score: difference over sqrt(u1^2 + u2^2), action from 3 on (from memory).
    result = evaluate_drop(record(), facts())
    fit = result["impact_speed"]
    gate = replace(fit, value=fit.value + score * fit.u * math.hypot(1.0, 1.8), u=1.8 * fit.u)
    found = gate_reasons({"impact_speed": fit, "gate_speed": gate})
    assert [reason.name for reason in found] == ["gate_disagrees"] * named


def test_a_record_that_ends_in_flight_makes_the_drop_invalid() -> None:
    made = record(Truth(caught=False))
    _, _, struck = heights(Truth())
    end = round(struck * 1000) + 40
    short = replace(made, ticks=made.ticks[:end], counts=made.counts[:end])
    assert run(short) == ["record_short"]


def test_a_fall_too_short_to_fit_gives_a_reason_and_no_number() -> None:
    made = record(Truth(height_m=0.012))
    result = evaluate_drop(made, facts())
    assert names(result) == ["short_fall"] and not result.measurands
