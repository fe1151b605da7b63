"""Analysis of variance and components of scatter against certified and published figures."""

import math

import pytest

from rig.study.statistics.anova import components
from rig.study.statistics.units import blade_means
from tests.published import load
from tests.study.blades import TORQUE, study


def _linear(values, loads=None):  # type: ignore[no-untyped-def]
    from rig.study.statistics.data import Response

    data = study(values, Response("calcium", "%", "linear", 0.1, 0.1), None, loads)
    return blade_means(data.observations, data.response)


def mean_squares(groups):  # type: ignore[no-untyped-def]
    """Between and within groups, as (mean square, dof): a group is a blade, its values trials."""
    _, blade, trial = components(_linear({"A": groups})).levels
    return (blade.mean_square, blade.dof), (trial.mean_square, trial.dof)


# NIST StRD, analysis of variance. Doubles hold SmLs07 only to about 1e-4 of its last digit.
@pytest.mark.parametrize(
    ("case", "rel"), [("strd_sirstv", 1e-12), ("strd_smls01", 1e-12), ("strd_smls07", 3e-4)]
)
def test_the_mean_squares_agree_with_the_certified_digits(case: str, rel: float) -> None:
    given = load(case)
    between, within = mean_squares(given["inputs"]["groups"])
    wanted = given["expected"]
    assert between == (pytest.approx(wanted["ms_between"], rel=rel), wanted["df_between"])
    assert within == (pytest.approx(wanted["ms_within"], rel=rel), wanted["df_within"])
    assert between[0] / within[0] == pytest.approx(wanted["F"], rel=rel)


def test_the_sums_of_squares_agree_with_the_handbook() -> None:  # NIST e-Handbook 7.4.3.3
    given = load("tukey_nist_handbook")
    (between, one), (within, two) = mean_squares(given["inputs"]["groups"])
    assert between * one == pytest.approx(given["expected"]["ss_between"], abs=6e-4)
    assert within * two == pytest.approx(given["expected"]["ss_within"], abs=6e-4)
    assert between / within == pytest.approx(given["expected"]["F"], abs=6e-4)


def test_nested_components_agree_with_snedecor_and_cochran() -> None:
    """Turnip greens: plants / leaves / determinations.

    Snedecor and Cochran, Statistical Methods, 7th ed., section 13.10 (from memory): mean squares
    2.5201, 0.3288, 0.0067; components 0.3652, 0.1611, 0.0067 (the printed 0.0066 is cut short).
    """
    given = load("turnip_greens")
    plants = given["inputs"]["plants"]
    values = {"greens": [leaf for plant in plants for leaf in plant]}
    loads = {"greens": [f"plant {i}" for i, plant in enumerate(plants) for _ in plant]}
    told = components(_linear(values, loads))
    for part, name in zip(told.levels, ("plant", "leaf", "determination"), strict=True):
        expected = given["expected"][name]
        assert part.mean_square == pytest.approx(expected["ms"], abs=1.1e-4)
        assert part.sd is not None
        assert part.sd**2 == pytest.approx(expected["variance"], abs=1.1e-4)


def test_a_negative_component_counts_as_zero_and_says_so() -> None:
    told = components(_linear({"A": [[1.0, 3.0], [3.0, 1.0], [1.1, 2.9]]}))
    assert told.sd("blade") == 0
    assert [reason.name for reason in told.reasons] == ["negative_component"]


def test_one_trial_a_blade_gives_one_scatter_for_both_and_says_so() -> None:
    told = components(_linear({"A": [1.0, 2.0, 3.0]}))
    assert told.sd("trial") is None
    assert told.sd("blade") == pytest.approx(1.0)
    assert [reason.name for reason in told.reasons] == ["no_repeats"]


def test_unequal_repeats_still_give_the_true_components() -> None:
    import numpy as np

    rng = np.random.default_rng(3)
    blades = [
        [float(b + 0.5 * e) for e in rng.standard_normal(1 + i % 4)]
        for i, b in enumerate(2.0 * rng.standard_normal(4000))
    ]
    told = components(_linear({"A": blades}))
    assert told.sd("blade") == pytest.approx(2.0, rel=0.03)
    assert told.sd("trial") == pytest.approx(0.5, rel=0.03)


def test_measurement_uncertainty_is_kept_apart_from_scatter() -> None:
    data = study({"A": [[10.0, 10.2], [11.0, 11.1]]}, u=0.1)
    told = components(blade_means(data.observations, TORQUE))
    assert told.u_measured == pytest.approx(0.1 / 10.5, rel=0.02)
    assert math.isclose(sum(c.share for c in told.levels if c.share is not None), 1)
