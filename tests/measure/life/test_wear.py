"""The wear curve: force against cuts."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from rig.errors import RigError
from rig.measure.life import wear

CUTS = np.append(0, np.round(20 * 1.25 ** np.arange(12)))


def forces(power: float, scatter: float, seed: int) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal(len(CUTS))
    force: np.ndarray = 3 + 5 * (CUTS / CUTS.max()) ** power + scatter * noise
    return force


@pytest.mark.parametrize("power", [0.3, 0.6, 1.0, 2.0])
def test_forces_without_scatter_give_the_curve_back(power: float) -> None:
    found = wear(CUTS.tolist(), forces(power, 0, 0).tolist())
    assert found.start_n.estimate == pytest.approx(3, rel=1e-5)
    assert found.rise_n.estimate == pytest.approx(5, rel=1e-5)
    assert found.power.estimate == pytest.approx(power, rel=1e-5)
    assert found.force_n(100) == pytest.approx(3 + 5 * (100 / CUTS.max()) ** power, rel=1e-6)
    assert not found.reasons


@pytest.mark.parametrize("seed", range(4))
def test_scipy_s_general_fit_agrees(seed: int) -> None:
    # scipy.optimize.curve_fit: the same least squares; its linear intervals nearly ours
    force = forces(0.6, 0.05, seed)

    def curve(n: np.ndarray, start: float, rise: float, power: float) -> np.ndarray:
        bent: np.ndarray = start + rise * (n / CUTS.max()) ** power
        return bent

    best, spread = optimize.curve_fit(curve, CUTS, force, [3, 5, 0.7])
    found = wear(CUTS.tolist(), force.tolist())
    half = stats.t.ppf(0.975, len(CUTS) - 3) * np.sqrt(np.diag(spread))
    told = (found.start_n, found.rise_n, found.power)
    for one, value, wide in zip(told, best, half, strict=True):
        assert one.estimate == pytest.approx(value, rel=1e-4)
        assert (one.low, one.high) == pytest.approx((value - wide, value + wide), abs=0.25 * wide)


@pytest.mark.parametrize("end", ["low", "high"])
def test_at_the_ends_of_the_start_s_interval_the_squares_have_risen_by_f(end: str) -> None:
    # Bates and Watts 1988, section 6.1, with scipy's general fit of the other two parameters
    force = forces(0.6, 0.3, 1)
    found = wear(CUTS.tolist(), force.tolist())
    held = getattr(found.start_n, end)

    def curve(n: np.ndarray, rise: float, power: float) -> np.ndarray:
        bent: np.ndarray = held + rise * (n / CUTS.max()) ** power
        return bent

    best, _ = optimize.curve_fit(curve, CUTS, force, [5, 0.7])
    dof = len(CUTS) - 3
    risen = float(((force - curve(CUTS, *best)) ** 2).sum()) / (dof * found.scatter_n**2) - 1
    assert risen == pytest.approx(stats.f.ppf(0.95, 1, dof) / dof, rel=1e-4)


def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    studies, held = 100, np.zeros(3)
    for seed in range(studies):
        found = wear(CUTS.tolist(), forces(0.6, 0.3, seed).tolist())
        told = zip((found.start_n, found.rise_n, found.power), (3, 5, 0.6), strict=True)
        held += [one.holds(truth) for one, truth in told]
    low, high = stats.binom.ppf([0.0005, 0.9995], studies, [0.93, 0.97])
    assert (held >= low).all() and (held <= high).all()


def test_a_force_that_does_not_rise_tells_no_power() -> None:
    found = wear(CUTS.tolist(), (3 + 0 * forces(1, 0, 0) + forces(1, 0.2, 3) * 0.01).tolist())
    flat = wear(CUTS.tolist(), [3.0, 3.1, 2.9, 3.05, 2.95, 3.1, 2.9, 3, 3.1, 2.9, 3, 3.1, 2.95])
    assert {reason.name for reason in flat.reasons} == {"no_rise", "power_not_determined"}
    assert math.isnan(flat.power.estimate) and math.isnan(flat.force_n(50))
    assert flat.rise_n.low < 0 < flat.rise_n.high
    assert found.start_n.estimate == pytest.approx(3.03, abs=0.02)


def test_too_few_counts_give_reasons_and_no_numbers() -> None:
    found = wear([0, 50, 100, 100, 100, 150, 150], [2, 3, 4, 4, 4, 5, 5])
    assert [reason.name for reason in found.reasons] == ["too_few_probes"]
    assert math.isnan(found.start_n.estimate) and math.isnan(found.scatter_n)


@pytest.mark.parametrize(
    ("cuts", "force"), [([], []), ([1, 2], [1]), ([-1, 2], [1, 1]), ([0, 0], [1, 1]),
                        ([1, math.nan], [1, 1]), ([1, 2], [1, math.inf])]
)  # fmt: skip
def test_bad_records_are_refused(cuts: list[float], force: list[float]) -> None:
    with pytest.raises(RigError):
        wear(cuts, force)
