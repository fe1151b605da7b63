"""Tests beside the verdict, against published figures."""

import math

import numpy as np
import pytest
from scipy import stats

from rig.study.statistics.alternatives import beside, mann_whitney, permutation
from rig.study.statistics.data import LINEAR, Response
from rig.study.statistics.units import layout
from rig.study.statistics.within_loads import within_loads
from tests.published import load
from tests.study.blades import drawn, study

PLAIN = Response("value", "1", LINEAR, 1.0, 1.0)


def told(values, control=None, **more):  # type: ignore[no-untyped-def]
    plan = layout(study(values, PLAIN, control, **more))
    return {(b.method, b.group, b.against): b for b in beside(plan, control)[0]}


def test_welchs_analysis_of_variance_agrees_with_the_published_case() -> None:
    """Pain threshold by hair colour; JASP and R oneway.test."""
    case = load("welch_anova_pain")
    found = told(case["inputs"])
    welch, classic = (
        found["Welch's analysis of variance", "", ""],
        found["analysis of variance", "", ""],
    )
    assert welch.statistic == pytest.approx(case["expected"]["F"], abs=6e-5)
    assert welch.p == pytest.approx(case["expected"]["p"], abs=6e-5)
    assert classic.statistic == pytest.approx(case["expected"]["classic_F"], abs=6e-4)
    assert classic.p == pytest.approx(case["expected"]["classic_p"], abs=6e-4)


def test_kruskal_wallis_agrees_with_the_published_case() -> None:
    """Hollander and Wolfe 1973, page 116 (from memory of R's documentation)."""
    case = load("kruskal_mucociliary")
    found = told(case["inputs"])["Kruskal-Wallis", "", ""]
    assert found.statistic == pytest.approx(case["expected"]["H"], abs=6e-6)
    assert found.p == pytest.approx(case["expected"]["p"], abs=5e-3)


def test_tukey_agrees_with_the_handbook() -> None:
    """NIST e-Handbook 7.4.7.1; p values of R's TukeyHSD for the same data."""
    groups = load("tukey_nist_handbook")["inputs"]["groups"]
    found = told(dict(zip("1234", groups, strict=True)))
    pairs = ["21", "31", "41", "32", "42", "43"]
    printed = [0.02279338, 0.00221082, 0.99612108, 0.66446490, 0.03515448, 0.00345056]
    for pair, p in zip(pairs, printed, strict=True):
        assert found["Tukey", *pair].p == pytest.approx(p, abs=2e-6)


DUNNETT = load("dunnett_critical_values")
EQUAL_GROUPS = [  # his tables take any degrees of freedom; groups of one size only these
    (*entry, critical)
    for entry, critical in zip(
        DUNNETT["inputs"]["entries"], DUNNETT["expected"]["critical"], strict=True
    )
    if entry[1] % (entry[0] + 1) == 0
]


@pytest.mark.parametrize(("treatments", "df", "level", "two_sided", "critical"), EQUAL_GROUPS)
def test_dunnetts_p_at_his_critical_values_is_his_level(
    treatments: int, df: int, level: float, two_sided: bool, critical: float
) -> None:
    """Dunnett 1955, tables 1 and 2, printed to two decimals.

    Groups are made so that the t of one comparison is the critical value.
    """
    n = df // (treatments + 1) + 1
    base = np.linspace(-1, 1, n)
    base /= base.std(ddof=1)
    shift = critical * math.sqrt(2 / n)
    samples = [base + shift * (i == 0) for i in range(treatments)]
    side = "two-sided" if two_sided else "greater"
    told = stats.dunnett(*samples, control=base, alternative=side, rng=np.random.default_rng(1))
    assert told.statistic[0] == pytest.approx(critical)
    assert told.pvalue[0] == pytest.approx(level, rel=0.03)


def test_the_exact_test_of_three_against_three_cannot_go_below_a_tenth() -> None:
    _, p, note = permutation([1.0, 2.0, 3.0], [11.0, 12.0, 13.0])
    assert p == pytest.approx(0.10) and "cannot go below p = 0.1" in note


def test_unlike_sizes_reach_one_way_of_all_and_ranks_two() -> None:
    one, two = [1.0, 2.0, 3.0], [11.0, 12.5, 13.0, 19.0]
    _, p, note = permutation(one, two)
    assert p == pytest.approx(1 / 35) and "cannot go below p = 0.029" in note
    _, p, note = mann_whitney(one, two)
    assert p == pytest.approx(2 / 35) and "cannot go below p = 0.057" in note


def test_with_a_control_dunnett_and_the_pairs_against_it_are_given() -> None:
    found = told(drawn(np.random.default_rng(1), (1.0, 1.5, 1.0)), "A")
    assert {pair[1:] for pair in found if pair[0] == "Dunnett"} == {("B", "A"), ("C", "A")}
    assert {pair[1:] for pair in found if pair[0] == "permutation"} == {("B", "A"), ("C", "A")}
    assert found["permutation", "B", "A"].p_family >= found["permutation", "B", "A"].p


@pytest.mark.parametrize(
    "values",
    [
        {"A": [1.0, 1.0, 1.0], "B": [1.0, 1.0, 1.0]},
        {"A": [1.0, 1.0, 1.0], "B": [2.0, 2.0, 2.0]},
        {"A": [1.0, 2.0], "B": [2.0, 2.0]},
        {"A": [1.0], "B": [2.0, 3.0], "C": [1.0, 4.0]},
        {"A": [], "B": []},
    ],
)
def test_awkward_values_give_nan_or_reasons_and_no_crash(values: dict[str, list[float]]) -> None:
    for control in (None, "A"):
        plan = layout(study(values, PLAIN, control))
        found, reasons = beside(plan, control)
        assert found or reasons


def test_shared_loads_leave_only_the_main_comparison() -> None:
    loads = {name: ["1", "1", "2", "2"] for name in "AB"}
    plan = layout(study({"A": [1.0, 2, 3, 4], "B": [2.0, 3, 4, 5]}, PLAIN, loads=loads))
    found, reasons = beside(plan, None)
    assert not found and reasons[0].name == "no_alternatives"


def test_incomplete_loads_agree_with_the_published_incomplete_block_design() -> None:
    """Montgomery, Design and Analysis of Experiments, section 4.4: four catalysts in four batches
    of three (from memory; reproduced with another library's least squares)."""
    case = load("bib_catalyst")
    y, expected = case["inputs"]["y"], case["expected"]
    present = {
        str(i): [(j, row[j]) for j in range(4) if row[j] is not None] for i, row in enumerate(y, 1)
    }
    values = {name: [float(value) for _, value in own] for name, own in present.items()}
    loads = {name: [f"batch {j}" for j, _ in own] for name, own in present.items()}
    plan = layout(study(values, PLAIN, None, loads=loads))
    told = within_loads(plan.cells)
    assert told is not None
    assert told.ss_groups == pytest.approx(expected["SS_treatments_adjusted"])
    assert told.ss_error == pytest.approx(expected["SS_error"])
    assert [told.df_groups, 3, told.df_error] == expected["df"]
    (shown,), _ = beside(plan, None)
    assert shown.statistic == pytest.approx(expected["F"], abs=6e-3)
    assert shown.p == pytest.approx(expected["p"], abs=6e-5)


def test_loads_that_tie_no_groups_together_give_no_analysis() -> None:
    assert within_loads({"A": {"1": [1.0, 2.0]}, "B": {"2": [1.0]}}) is None
    assert within_loads({"A": {"1": [1.0], "2": [2.0]}, "B": {"1": [2.0], "2": [3.0]}}) is None
    assert within_loads({}) is None
