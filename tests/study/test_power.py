"""Sample sizes and detectable differences."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from rig.errors import RigError
from rig.study.answers.pilot import scatters
from rig.study.answers.plan_words import in_words
from rig.study.answers.planning import plans
from rig.study.statistics.contrasts import contrast
from rig.study.statistics.data import LINEAR, LOG, Response
from rig.study.statistics.designs import Design, design_of, units_of
from rig.study.statistics.plan import Scatter, plan_study
from rig.study.statistics.power import (
    detectable_pooled,
    exact_size,
    fewest,
    found_anova,
    found_pooled,
    log_scatter,
    scatter_of_means,
)
from rig.study.statistics.units import LOAD, PAIR_IN_LOAD, layout
from tests.published import load
from tests.study.blades import study
from tests.study.books import begin, record, response

TORQUE = Response("peak torque", "N.m", LOG, smallest=1.25, margin=1.2)


@pytest.mark.parametrize("at", range(3))
def test_two_groups_agree_with_cohen(at: int) -> None:
    """Cohen 1992, table 2 (from memory); exact sizes from R package pwr."""
    given = load("power_two_groups")
    d, expected = given["inputs"]["d"][at], given["expected"]
    assert exact_size(lambda n: found_pooled(d, n)) == pytest.approx(
        expected["n_exact"][at], abs=6e-4
    )
    assert fewest(lambda n: found_pooled(d, n)) == expected["n_up"][at]
    assert expected["n_up"][at] - expected["n_cohen"][at] in (0, 1)


@pytest.mark.parametrize("at", range(3))
def test_three_groups_agree_with_cohen(at: int) -> None:
    given = load("power_anova_k3")
    f, expected = given["inputs"]["f"][at], given["expected"]
    size = exact_size(lambda n: found_anova(f, n, 3))
    assert size == pytest.approx(expected["n_exact"][at], abs=2e-3)
    assert round(size) == expected["n_cohen"][at]
    assert fewest(lambda n: found_anova(f, n, 3)) == expected["n_up"][at]


@pytest.mark.parametrize(
    ("n", "percents"), [(3, (36, 84, 146)), (6, (20, 43, 69)), (10, (14, 30, 48))]
)
def test_students_t_sees_the_ratios_worked_out_beforehand(
    n: int, percents: tuple[int, int, int]
) -> None:
    """Noncentral t on the log scale for CV 10, 20, 30 %: calculated, no published source."""
    for cv, percent in zip((0.1, 0.2, 0.3), percents, strict=True):
        ratio = math.exp(detectable_pooled(n) * log_scatter(cv))
        assert 100 * (ratio - 1) == pytest.approx(percent, abs=0.51)


def test_the_verdict_asks_for_more_than_students_t_with_three_blades_only() -> None:
    assert Design().detectable(3) > 1.15 * detectable_pooled(3)
    for n in (6, 8, 10, 20):
        assert detectable_pooled(n) <= Design().detectable(n) < 1.03 * detectable_pooled(n)


def test_repeats_help_only_against_scatter_on_one_blade() -> None:
    assert scatter_of_means(0.1, 0.0, 9) == 0.1
    assert scatter_of_means(0.0, 0.3, 9) == pytest.approx(0.1)


def test_the_plan_gives_the_fewest_blades_with_the_power() -> None:
    told = plan_study(TORQUE, 3, Scatter(0.10, 0.05), repeats=2)
    assert told.units is not None and told.comparisons == 2
    wanted = math.log(1.25) / told.scatter
    chances = [Design().found(wanted, told.units - less, 2) for less in (0, 1)]
    assert chances[0] >= 0.8 > chances[1]
    assert told.trials == told.units * 3 * 2
    row = next(row for row in told.rows if row.units == told.units)
    assert row.detectable <= 1.25 and row.chance >= 0.8 and row.trials == told.trials
    assert [row.detectable for row in told.rows] == sorted(
        (row.detectable for row in told.rows), reverse=True
    )


def test_all_pairs_need_more_blades_than_a_control() -> None:
    with_control = plan_study(TORQUE, 4, Scatter(0.15)).units
    all_pairs = plan_study(TORQUE, 4, Scatter(0.15), with_control=False).units
    assert with_control is not None and all_pairs is not None and with_control < all_pairs


def test_differences_are_planned_on_the_linear_scale() -> None:
    hardness = Response("hardness", "HRC", LINEAR, smallest=1.0, margin=1.0)
    told = plan_study(hardness, 2, Scatter(0.5))
    assert told.units == Design().fewest(2.0, 1)


def test_an_impossible_plan_says_so() -> None:
    told = plan_study(Response("life", "cuts", LOG, 1.01, 1.01), 2, Scatter(0.5))
    assert told.units is None and told.blades is None and told.trials is None
    assert told.reasons[0].name == "too_many"


def test_a_plan_without_scatter_or_groups_is_refused() -> None:
    with pytest.raises(RigError, match="no scatter is stated"):
        plan_study(TORQUE, 2, Scatter(0.0))
    with pytest.raises(RigError, match="1 groups"):
        plan_study(TORQUE, 1, Scatter(0.1))


def lying(**loads: dict[str, int]) -> dict[str, dict[str, list[float]]]:
    """Group -> load -> a nought for each blade."""
    return {name: {load: [0.0] * n for load, n in own.items()} for name, own in loads.items()}


def test_the_plan_counts_what_the_verdict_counts() -> None:
    one = lying(A={"L1": 4}, B={"L1": 3})
    own = lying(A={"L1": 3, "L2": 3}, B={"L3": 3, "L4": 2})
    every = lying(A={"L1": 2, "L2": 2, "L3": 2}, B={"L1": 2, "L2": 2, "L3": 2})
    assert design_of(one) == Design() and units_of(one, design_of(one)) == 3
    assert design_of(own) == Design(LOAD, 2) and units_of(own, design_of(own)) == 2
    assert design_of(every) == Design(PAIR_IN_LOAD, 2)
    assert units_of(every, design_of(every)) == 3


@pytest.mark.parametrize("each", [1, 2, 3])
@pytest.mark.parametrize("loads", [1, 2, 3, 4])
@pytest.mark.parametrize("own", [True, False])
def test_planned_freedoms_are_those_of_the_comparison(own: bool, loads: int, each: int) -> None:
    rng = np.random.default_rng(1)
    values = {name: list(10 + rng.random(loads * each)) for name in "AB"}
    places = {name: [f"{name * own}{i % loads}" for i in range(loads * each)] for name in "AB"}
    told = contrast(layout(study(values, loads=places)), "B", "A")
    cells = layout(study(values, loads=places)).cells
    design = Design(LOAD if own else PAIR_IN_LOAD, each)
    if loads > 1:
        assert design_of(cells) == design
    f1, f2 = design.freedoms(loads)
    assert (told.reason is None) == (f1 > 0)
    if f1:
        assert (told.f1, told.f2) == (f1, f2)


def test_one_load_a_recipe_promises_nothing_however_many_blades() -> None:
    """6 blades in 2 loads a recipe, loads scattering as blades do, are no 6 units."""
    lone, two = Design(LOAD, 6), Design(LOAD, 3)
    assert lone.found(50.0, 1) == 0.0 and lone.detectable(1) == math.inf
    told = plan_study(TORQUE, 2, Scatter(0.1, loads=0.1), design=two)
    by_blades = plan_study(TORQUE, 2, Scatter(0.1))
    at = {row.units: row.chance for row in told.rows}
    assert at[1] == 0.0 and at[2] < 0.3
    assert next(row for row in by_blades.rows if row.units == 6).chance > 0.9
    assert told.blades == told.units * 3 * 2 if told.units else False


def test_a_plan_by_loads_says_what_a_second_load_buys() -> None:
    loads = {f"{g}{i + 1}": f"{g} {i % 2}" for g in "AB" for i in range(6)}
    asked = [response("pry_torque", scatter=0.1, load_scatter=0.05)]
    (told,) = plans(record({"A": 6, "B": 6}, asked, loads=loads))
    text = "\n".join(in_words(told))
    second = next(row.chance for row in told.plan.rows if row.units == 2)
    assert f"A second load buys a chance of {second:.0%}" in text
    assert (
        "furnace loads scatter 5 % as stated" in text
        and "one furnace load a recipe says nothing" in text
    )
    assert "furnace loads of 3 blades for each of 2 groups find" in text
    (guessed,) = plans(record({"A": 6, "B": 6}, [response("pry_torque", scatter=0.1)], loads=loads))
    assert any("state load_scatter" in line for line in in_words(guessed))
    assert guessed.plan.units > told.plan.units  # type: ignore[operator]


def test_a_pilot_of_several_loads_tells_their_scatter_and_its_limit(tmp_path: Path) -> None:
    loads = {f"A{i + 1}": f"L{i // 2}" for i in range(8)}
    made = begin(tmp_path / "p.logbook", record({"A": 8}, control=None, loads=loads))
    torques = (10.0, 10.4, 12.0, 12.6, 9.0, 9.2, 10.8, 11.4)
    for blade, torque in zip(loads, torques, strict=True):
        made.pry(blade, torque)
    made.unseal()
    made.book.close()
    study_of = record({"A": 3, "B": 3}, [response("pry_torque")])
    told = scatters(made.book.path, study_of.response)["pry_torque"]
    logs = np.log(torques).reshape(4, 2)
    own, between = logs.var(axis=1, ddof=1).mean(), 2 * logs.mean(axis=1).var(ddof=1)
    assert told.loads == pytest.approx(math.sqrt(math.expm1((between - own) / 2)), rel=1e-6)
    limit = (between * 3 / stats.chi2.ppf(0.2, 3) - own) / 2
    assert told.loads_upper == pytest.approx(math.sqrt(math.expm1(limit)), rel=1e-6)
    apart = {f"{g}{i + 1}": f"{g}{i}" for g in "AB" for i in range(3)}
    (plan,) = plans(record({"A": 3, "B": 3}, loads=apart), {"pry_torque": told})
    assert any("furnace loads scatter 13 % in the pilot; planned with" in x for x in in_words(plan))


def test_the_page_says_of_few_blades_what_the_plan_says() -> None:
    page = (Path(__file__).parents[2] / "procedures/drop_impact.md").read_text(encoding="utf-8")
    three, six, ten = (
        math.exp(log_scatter(0.2) * Design().detectable(blades)) for blades in (3, 6, 10)
    )
    told = f"what is {three:.1f} times as much, six against six {100 * (six - 1):.0f} % more, ten"
    assert f"{told} against ten {100 * (ten - 1):.0f} % more" in " ".join(page.split())
