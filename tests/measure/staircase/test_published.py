"""Up-and-down estimates against published staircases."""

import pytest

from rig.errors import RigError
from rig.measure.staircase import (
    Staircase,
    compare_staircases,
    dixon_mood,
    estimates,
    likelihood,
    small_sample,
    sums,
)
from tests.published import load


def gorla() -> Staircase:
    given = load("staircase_gorla_751")["inputs"]
    return Staircase(
        tuple(map(float, given["load_kN"])), tuple(map(bool, given["failed"])), given["step_kN"]
    )


def falling_weight() -> Staircase:
    given = load("staircase_mean_failure_height")["inputs"]
    return Staircase(
        tuple(map(float, given["height_mm"])), tuple(map(bool, given["failed"])), given["step_mm"]
    )


def from_signs(signs: str, start: float = 10.0, step: float = 1.0) -> Staircase:
    levels = [start]
    for sign in signs[:-1]:
        levels.append(levels[-1] + (step if sign == "O" else -step))
    return Staircase(tuple(levels), tuple(sign == "X" for sign in signs), step)


def test_the_average_of_levels_agrees_with_the_gear_article() -> None:
    """Gorla et al. 2017, material 751: 40.91 kN."""
    given = load("staircase_gorla_751")
    run = gorla()
    assert run.next_level == given["inputs"]["next_level_kN"]
    assert small_sample(run).mean == pytest.approx(given["expected"]["mean_kN"], abs=5e-6)


def test_the_formulae_of_1948_give_the_mean_failure_height() -> None:
    """Formula of ASTM D5420 and Dixon and Mood 1948; the run of drops is made up."""
    given = load("staircase_mean_failure_height")
    expected, run = given["expected"], falling_weight()
    told = sums(run)
    assert (told.n, told.a, told.b) == (expected["N_failures"], expected["A"], expected["B"])
    estimate = dixon_mood(run)
    assert estimate.mean == pytest.approx(expected["mean_height"], abs=1e-9)
    assert estimate.sd == pytest.approx(expected["sd"], abs=1e-6)
    energy = given["inputs"]["mass_kg"] * 9.80665 * estimate.mean / 1000
    assert energy == pytest.approx(expected["energy_J"], abs=1e-6)


@pytest.mark.parametrize("at", range(18))
def test_the_likelihood_agrees_with_dixons_table(at: int) -> None:
    """Dixon 1965, table 2 (from memory): scatter known to be one step."""
    given = load("dixon_short_staircases")
    run = from_signs(given["inputs"]["runs"][at])
    mean = likelihood(run, sd=run.step).mean
    assert mean is not None
    assert mean - run.levels[-1] == pytest.approx(given["expected"]["k"][at], abs=6e-4)


def test_a_short_run_gives_no_scatter_and_says_what_it_took() -> None:
    told = likelihood(gorla())
    assert told.sd is None
    assert "scatter_assumed" in {reason.name for reason in told.reasons}
    assert told.low is not None and told.high is not None and told.mean is not None
    assert told.low < told.mean < told.high
    assert dixon_mood(gorla()).sd is None


def test_twenty_trials_give_a_scatter() -> None:
    told = likelihood(falling_weight())
    assert told.sd is not None and 2 < told.sd < 8
    assert told.mean == pytest.approx(23.5, abs=1.0)


@pytest.mark.parametrize(("sign", "way"), [("X", "lower"), ("O", "higher")])
def test_one_outcome_only_bounds_the_level_from_one_side(sign: str, way: str) -> None:
    for estimate in estimates(from_signs(sign * 6)):
        assert estimate.mean is None
        assert estimate.reasons[0].name == "one_outcome"
        assert way in estimate.reasons[0].text


def test_many_drops_on_one_blade_speak_for_that_blade_only() -> None:
    run = gorla()
    same = Staircase(run.levels, run.failed, run.step, ("A1",) * len(run.levels))
    assert "same_blades" in {reason.name for reason in likelihood(same).reasons}
    told = compare_staircases(same, run)
    assert told.p is None and told.reasons[0].name == "same_blades"


def test_a_level_off_the_steps_is_refused() -> None:
    with pytest.raises(RigError, match=r"level 10\.5 is not a whole number of steps"):
        Staircase((10.0, 10.5), (True, False), 1.0)


def test_two_like_runs_do_not_differ_and_two_unlike_do() -> None:
    run = falling_weight()
    higher = Staircase(tuple(x + 15 for x in run.levels), run.failed, run.step)
    same, other = compare_staircases(run, run), compare_staircases(higher, run)
    assert same.p == pytest.approx(1.0)
    assert other.p is not None and other.p < 1e-4
    assert other.difference == pytest.approx(15, abs=1e-3)


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    import numpy as np

    rng, held, runs = np.random.default_rng(5), 0, 300
    for _ in range(runs):
        level, levels, failed = 10.0, [], []
        for _ in range(30):
            levels.append(level)
            failed.append(bool(level > 10.3 + rng.standard_normal()))
            level += -1.0 if failed[-1] else 1.0
        told = likelihood(Staircase(tuple(levels), tuple(failed), 1.0))
        low = -np.inf if told.low is None else told.low
        high = np.inf if told.high is None else told.high
        held += low <= 10.3 <= high
    assert 0.90 <= held / runs <= 0.985
