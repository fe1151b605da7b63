"""The failure energy of a staircase: its interval holds the truth; one outcome is a bound."""

import math
from typing import Any

import numpy as np
import pytest

from rig.measure.staircase.evaluate import NAME, evaluate_staircase, fewer_costs


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


@pytest.mark.parametrize("count", [10, 20])
def test_the_interval_holds_the_truth_when_the_step_is_the_scatter(count: int) -> None:
    """Error of the level: 0.42 scatters at 10 drops, 0.31 at 20 (computed here by simulation)."""
    rng, held, errors = np.random.default_rng(5), 0, []
    for _ in range(300):
        found = evaluate_staircase(drops(rng, count, 0.5))["measurands"][NAME]
        errors.append(found["value"] - 5.0)
        held += abs(errors[-1]) <= found["U"]
    assert 0.92 <= held / 300 <= 0.99
    assert np.std(errors) / 0.5 == pytest.approx({10: 0.42, 20: 0.31}[count], rel=0.12)
    assert f"{0.31 * math.sqrt(20 / count):.2f} scatters" in fewer_costs(count)


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
