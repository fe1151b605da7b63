"""The failure energy of a staircase: its interval holds the truth; one outcome is a bound."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.measure.staircase.evaluate import NAME, evaluate_staircase, fewer_costs

PAGE = (Path(__file__).parents[3] / "procedures/staircase_impact.md").read_text(encoding="utf-8")


def drops(
    rng: np.random.Generator, count: int, sd: float, step: float = 0.5, bias: float = 1.0
) -> dict[str, Any]:
    """A staircase about a level of 5 J whose sites scatter by `sd`; energies read `bias` times."""
    level, told = 5.0 + rng.uniform(-0.5, 0.5) * step, []
    for _ in range(count):
        failed = bool(level > 5.0 + sd * rng.standard_normal())
        told.append({"level_j": level, "energy_j": bias * level, "u_j": 0.01, "failed": failed,
                     "blade": "K3"})  # fmt: skip
        level += -step if failed else step
    return {"drops": told, "step_j": step}


def run_many(count: int, step: float) -> tuple[float, float]:
    """Share of 800 simulated staircases whose interval holds the truth; their error in scatters.

    The sites scatter by 0.5 J about 5 J (computed here, no outside source).
    """
    rng, held, errors = np.random.default_rng(5), 0, []
    for _ in range(800):
        found = evaluate_staircase(drops(rng, count, 0.5, step))["measurands"][NAME]
        errors.append(found["value"] - 5.0)
        held += abs(errors[-1]) <= found["U"]
    return held / 800, float(np.std(errors)) / 0.5


@pytest.mark.parametrize(("count", "told"), [(6, 0.58), (10, 0.45), (20, 0.32), (30, 0.26)])
def test_the_interval_holds_the_truth_and_the_level_errs_as_told(count: int, told: float) -> None:
    held, error = run_many(count, 0.5)
    assert 0.92 <= held <= 0.99
    assert error == pytest.approx(told, rel=0.07), "one sigma of 800 is 2.5 %"
    assert f"{told:.2f} scatters" in fewer_costs(count)
    assert f"{count} drops\n{told:.2f}" in PAGE or f"{count} drops {told:.2f}" in PAGE


@pytest.mark.parametrize("count", [10, 19])
@pytest.mark.parametrize(("step", "low", "high"), [(0.25, 0.80, 0.87), (0.125, 0.65, 0.73)])
def test_a_step_too_small_gives_too_narrow_an_interval_as_the_page_says(
    count: int, step: float, low: float, high: float
) -> None:
    assert low <= run_many(count, step)[0] <= high
    assert f"{low * 100:.0f} to {high * 100:.0f}" in PAGE


def test_the_energies_as_measured_count_not_those_wanted() -> None:
    plain, more = (
        evaluate_staircase(drops(np.random.default_rng(5), 20, 0.5, bias=bias))["measurands"][NAME]
        for bias in (1.0, 1.02)
    )
    assert more["value"] / plain["value"] == pytest.approx(1.02, abs=1e-9)
    assert {row["name"] for row in more["rows"]} == {"level", "energy_ratio"}


@pytest.mark.parametrize(("failed", "censored"), [(True, "left"), (False, "right")])
def test_one_outcome_only_gives_the_end_of_a_one_sided_interval(
    failed: bool, censored: str
) -> None:
    way = -1 if failed else 1
    levels = [5.0 + way * 0.5 * n for n in range(4)]
    told = evaluate_staircase(
        {"drops": [{"level_j": x, "energy_j": x, "u_j": 0.01, "failed": failed, "blade": "K3"}
                   for x in levels], "step_j": 0.5}
    )  # fmt: skip
    bound = told["measurands"][NAME]["value"]
    assert told["censored"] == censored
    # Where all four would go alike once in twenty, scatter one step: by the normal tables.
    normal = [0.5 * math.erfc(-way * (bound - x) / 0.5 / math.sqrt(2)) for x in levels]
    assert math.prod(normal) == pytest.approx(0.05, abs=1e-6)


def test_no_valid_drop_gives_no_number() -> None:
    told = evaluate_staircase({"drops": [], "step_j": 0.5})
    assert told["measurands"] == {} and told["reasons"][0]["name"] == "no_drops"
