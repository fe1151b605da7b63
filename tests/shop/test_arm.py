"""The strange arm is physics, and the program reads it as the board's own bytes."""

import math

import numpy as np
import pytest

from rig.bench import load
from rig.board.samples import capture
from rig.board.wire import Kind
from rig.guide.measures import reading
from tests.bench.shoparm import spoilt, trials
from tests.shop import arm as plant
from tests.shop.arm_trial import EFFECTS, drawn, feed, recorded_rest


def test_pull_is_the_tips_torque_while_the_arm_goes_slowly() -> None:
    arm = plant.Arm(plant.Tip(most_nm=20, breaks_rad=0.12), dry_nm=0.0, unbalanced_nm=0.0)
    pulled = plant.pulled(arm)
    assert pulled.pull_nm.max() == pytest.approx(pulled.truth["peak_torque"], rel=1e-3)


def test_energy_of_a_tip_is_the_area_under_its_curve() -> None:
    tip = plant.Tip(k_nm_rad=50, toe_rad=1e-6, most_nm=1e6, breaks_rad=0.1)
    truth = plant.pulled(plant.Arm(tip)).truth
    assert truth["energy"] == pytest.approx(0.5 * 50 * 0.1**2, rel=1e-3)
    assert truth["failure_angle"] == pytest.approx(0.1 - 0.05 / 50, rel=1e-3)


def test_a_tip_that_softens_breaks_below_its_largest_torque() -> None:
    tip = plant.Tip(most_nm=20, breaks_rad=0.12, softens=0.2, soft_from_rad=0.1)
    truth = plant.pulled(plant.Arm(tip)).truth
    assert truth["break_torque"] < 0.95 * truth["peak_torque"]


def test_after_a_snap_a_wire_stirrup_lets_the_arm_coast_and_the_cell_feel_nothing() -> None:
    tip = plant.Tip(most_nm=20, breaks_rad=0.12)
    wire, rigid = (plant.pulled(plant.Arm(tip, wire=wire)) for wire in (True, False))
    assert wire.angle_rad.max() > rigid.angle_rad.max()
    assert wire.pull_nm.min() == 0 > rigid.pull_nm.min()


def test_a_clamp_that_slips_leaves_the_tip_behind_the_arm() -> None:
    tip = plant.Tip(most_nm=20, breaks_rad=0.12)
    slipped = plant.pulled(plant.Arm(tip, slip_rad=0.004))
    assert slipped.truth["failure_angle"] == pytest.approx(
        plant.pulled(plant.Arm(tip)).truth["failure_angle"], rel=1e-3
    )
    assert slipped.angle_rad.max() > 0.12


def test_the_converters_rest_is_a_recording_and_not_white() -> None:
    rest = recorded_rest()
    assert len(rest) == 400
    assert np.corrcoef(rest[1:], rest[:-1])[0, 1] > 0.2


def test_decoder_finds_every_conversion_and_nothing_damaged() -> None:
    rng = np.random.default_rng(1)
    seen = capture(feed(drawn(rng), load(None), rng).raw)
    assert not seen.gaps and not seen.damaged
    assert len(seen[Kind.LOAD].values) > 500 and len(seen[Kind.ANGLE].values) > 900


def test_an_arm_in_order_is_measured_right_and_refused_never() -> None:
    told = trials((), 1.0, 3)
    assert told.refused == 0 and told.told["peak_torque"] == 3


@pytest.mark.parametrize("name", EFFECTS)
def test_every_effect_can_be_drawn(name: str) -> None:
    plain, changed = (drawn(np.random.default_rng(3), effects) for effects in ((), (name,)))
    assert plain != changed
    assert math.isfinite(changed.breaks)


def test_one_spoilt_conversion_is_counted_trial_by_trial() -> None:
    assert spoilt(4).made == 4


def test_one_spoilt_conversion_never_makes_a_wrong_peak_that_looks_good() -> None:
    told = spoilt(20)
    assert told.silent["peak_torque"] == 0
    assert told.reasons["load_spike"] or told.told["peak_torque"] == 20


def test_a_record_of_an_earlier_program_is_taken_as_it_was() -> None:
    rng = np.random.default_rng(11)
    case = drawn(rng).having(spoilt="doubled", spoilt_in="zero", spoilt_at=0.5)
    fed = feed(case, load(None), rng)
    earlier = reading(fed.zero, {"channel": "load"})
    now = reading(fed.zero, {"channel": "load", "name_spikes": True})
    assert earlier["reasons"] == [] and earlier["mean"] == now["mean"]
    assert [reason["name"] for reason in now["reasons"]] == ["load_spike"]


@pytest.mark.parametrize(
    ("effects", "quantities"),
    [
        ((), ("peak_torque", "break_torque", "failure_angle", "energy_to_failure")),
        (("tip that softens",), ("peak_torque", "failure_angle", "energy_to_failure")),
        (("crack in two steps",), ("peak_torque", "break_torque")),
    ],
)
def test_of_a_tip_that_softens_or_cracks_the_largest_torque_is_the_peak(
    effects: tuple[str, ...], quantities: tuple[str, ...]
) -> None:
    """A slice of the bench part `shoparm`, whose bar is 7 in 100."""
    told = trials(effects, 1.0, 20)
    assert told.refused <= 1
    for name in quantities:
        assert told.told[name] >= 18 and told.silent[name] <= 2, (name, told.silent)


def test_a_tip_that_cracked_before_it_broke_states_its_torques_and_no_angle() -> None:
    told = trials(("crack in two steps",), 1.0, 12)
    assert told.told["peak_torque"] == 12 and told.told["failure_angle"] <= 1


def test_a_blade_that_is_swept_with_the_arm_takes_its_weight_out_of_the_torque() -> None:
    told = trials(("weight of the blade",), 3.0, 16)
    assert told.refused <= 1 and told.silent["peak_torque"] <= 1
