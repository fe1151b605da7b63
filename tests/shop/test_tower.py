"""The strange tower is physics, and the program reads it as the board's own bytes."""

from dataclasses import replace

import numpy as np
import pytest

from rig.bench import load
from rig.board.samples import capture
from rig.board.wire import Kind
from rig.guide.measures import drop
from tests.bench.shop import GOOD, tower
from tests.shop import tower as plant
from tests.shop.tower_drop import EFFECTS, drawn, feed

FLAG = (0.006, 0.016)


def test_energy_at_contact_is_the_work_of_weight_spring_and_friction_less_what_the_drum_took() -> (
    None
):
    bare = plant.Tower(dry_n=0.0, drum_dry_n=0.0, spring_n_m=0.0)
    work = (bare.mass_kg * plant.G + bare.spring_n) * bare.drop_m
    share = bare.mass_kg / (bare.mass_kg + bare.drum_kg)
    # The wire takes up the drum's acceleration within its stretch: micrometres.
    assert plant.fallen(bare, FLAG, 1e-3).energy_j == pytest.approx(work * share, rel=2e-4)


def test_a_rod_gives_back_the_square_of_its_restitution() -> None:
    rod = plant.Tower(restitution=0.4, spring_n=0.0, dry_n=0.0, rod_n_m=3e8)
    fell = plant.fallen(rod, FLAG, 1e-3)
    assert fell.rebound_j == pytest.approx(0.16 * fell.energy_j, rel=0.02)


def test_a_soft_rod_keeps_a_deeper_dent_and_a_caught_carriage_strikes_once() -> None:
    hard = plant.fallen(plant.Tower(rod_n_m=3e7), FLAG, 1e-3)
    soft = plant.fallen(plant.Tower(rod_n_m=3e6), FLAG, 1e-3)
    assert soft.dent_m > 2 * hard.dent_m
    assert hard.second_j == 0 < plant.fallen(plant.Tower(caught=False), FLAG, 1e-3).second_j


def test_flag_passes_the_gate_at_the_speed_of_the_fall() -> None:
    fell = plant.fallen(plant.Tower(), FLAG, 1e-3)
    (into, entered), (out, left) = fell.gate[:2]
    assert entered and not left
    assert (FLAG[1] - FLAG[0]) / (out - into) == pytest.approx(fell.speed_m_s, rel=0.03)


def test_decoder_finds_every_sample_and_nothing_damaged() -> None:
    rng = np.random.default_rng(1)
    seen = capture(feed(drawn(rng), load(None), rng).raw)
    assert not seen.gaps and not seen.damaged
    assert len(seen[Kind.HEIGHT].values) > 1500


def test_a_tower_in_order_is_measured_right_and_refused_never() -> None:
    told = tower((), 1.0, 8)
    assert told.refused == 0
    assert told.held["impact_energy"] >= 6 and told.told["impact_energy"] == 8


@pytest.mark.parametrize("name", EFFECTS)
def test_every_effect_changes_what_the_board_sends(name: str) -> None:
    raws = []
    for effects in ((), (name,)):
        case = drawn(np.random.default_rng(5), effects)
        short = replace(case, tower=replace(case.tower, drop_m=0.1))
        raws.append(feed(short, load(None), np.random.default_rng(6)))
    plain, changed = raws
    assert (
        plain.raw != changed.raw
        or plain.settings != changed.settings
        or (plain.truth != changed.truth)
    )


def test_lost_pulses_leave_the_contact_afterwards_higher() -> None:
    rng = np.random.default_rng(7)
    fed = feed(drawn(rng).having(lost=4, lost_at_m=0.21), load(None), rng)
    moved = fed.settings["contact_after"]["counts"] - fed.settings["contact"]["counts"]
    assert moved > 0
    assert drop(fed.raw, fed.settings)["measurands"]


def test_the_table_knows_which_trials_are_good_ones() -> None:
    assert {name for effects in GOOD for name in effects} <= set(EFFECTS)


@pytest.mark.parametrize(
    ("effect", "gone"), [("bench that gives", True), ("reel that cannot follow", True), ("", False)]
)
def test_a_rise_that_is_no_free_flight_states_nothing_of_what_came_after(
    effect: str, gone: bool
) -> None:
    """A slice of the bench part `shop`: every rebound on such a bench was silently wrong before."""
    told = tower((effect,) if effect else (), 1.0, 16)
    assert told.told["impact_energy"] == 16 and told.refused == 0
    if gone:
        assert told.silent["rebound_energy"] + told.silent["second_strike_energy"] <= 1
    else:
        assert told.told["rebound_energy"] == 16 and told.told["second_strike_energy"] == 8


def test_a_stray_pulse_of_the_gate_refuses_no_drop_and_is_not_taken_for_the_flag() -> None:
    told = tower(("a stray gate pulse",), 1.0, 16)
    assert told.refused == 0 and told.silent["impact_energy"] <= 2
    bench, rng = load(None), np.random.default_rng(5)
    fed = feed(drawn(rng, ("a stray gate pulse",)), bench, rng)
    earlier = drop(fed.raw, {**fed.settings, "rule": 1})
    assert [reason["name"] for reason in earlier["reasons"]] == ["gate_disagrees"]


def test_a_dented_rod_refuses_no_drop_when_who_looks_says_so() -> None:
    assert tower(("rod that dents",), 1.0, 16).refused == 0


def test_a_contact_that_reads_higher_after_the_drop_is_of_lost_counts() -> None:
    bench, rng = load(None), np.random.default_rng(3)
    fed = feed(drawn(rng), bench, rng)
    higher = fed.settings["contact"]["counts"] + 4
    after = {**fed.settings["contact_after"], "counts": higher}
    told = drop(fed.raw, {**fed.settings, "contact_after": after})
    assert [reason["name"] for reason in told["reasons"]] == ["counts_lost"]
    earlier = {**fed.settings, "contact_after": after, "rule": 1}
    assert drop(fed.raw, earlier)["reasons"] == [], "runs of earlier programs keep their rule"
