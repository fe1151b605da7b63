"""How sure a capability study is, against published intervals and studies of a known truth."""

import math

import numpy as np
import pytest

from rig.study.answers import side_words
from rig.study.statistics.capability import Capability, ScatterLine, crossed
from rig.study.statistics.capability_range import in_words, next_step, spread
from tests.published import load
from tests.study.test_capability import readings

GAUGE, BLADES = math.hypot(0.5, 0.4, 0.3), 1.5  # bench, operators, both together


def from_table(operators: int, blades: int, repeats: int, *ms: float) -> Capability:
    """A capability of which only the mean squares are known."""
    df = (operators - 1, blades - 1, (operators - 1) * (blades - 1),
          operators * blades * (repeats - 1))  # fmt: skip
    names = ("operators", "blades", "interaction", "repeatability")
    table = tuple(ScatterLine(n, m * f, f) for n, m, f in zip(names, ms, df, strict=True))
    return Capability(1, 1, None, 1, 1, 1, 1, None, table, ())


def test_the_scatter_of_parts_agrees_with_the_published_interval() -> None:
    """Houf and Berman 1988, as worked by Burdick, Borror and Montgomery 2005 (from memory)."""
    case = load("gauge_rr_houf_berman_interval")
    made, wanted = case["inputs"], case["expected"]
    squares = (made[f"ms_{name}"] for name in ("operators", "parts", "interaction", "error"))
    told = spread(from_table(made["operators"], made["parts"], made["readings"], *squares))
    assert told is not None
    low, high = (sd**2 for sd in told.apart)
    within = case["tolerance"]["default"]["rel"]
    assert low == pytest.approx(wanted["variance_parts_low"], rel=within)
    assert high == pytest.approx(wanted["variance_parts_high"], rel=within)


def test_nineteen_of_twenty_intervals_hold_the_truth() -> None:
    rng, studies = np.random.default_rng(3), 300
    held = np.zeros((studies, 2))
    for i in range(studies):
        blade, operator = rng.normal(0, BLADES, (1, 6, 1)), rng.normal(0, 0.4, (3, 1, 1))
        mixed, error = rng.normal(0, 0.3, (3, 6, 1)), rng.normal(0, 0.5, (3, 6, 2))
        told = spread(crossed((blade + operator + mixed + error).tolist()))
        assert told is not None
        held[i] = (
            told.gauge[0] <= GAUGE <= told.gauge[1],
            told.distinct[0] <= 1.41 * BLADES / GAUGE <= told.distinct[1],
        )
    # 0.95 less three standard deviations; these intervals are known to hold a little more.
    assert (held.mean(axis=0) >= 0.91).all() and (held.mean(axis=0) < 1).all()


def test_two_blades_and_two_operators_make_a_nearly_worthless_figure() -> None:
    told = spread(crossed([[[60.0, 60.2], [62.0, 62.3]], [[60.1, 60.3], [62.3, 62.1]]]))
    assert told is not None and told.open_both_ways
    text = " ".join(in_words(told))
    assert (
        "between 0 and" in text
        and "2 blades and 2 operators make the figure nearly worthless" in text
    )
    assert "10 blades, 3 operators, 3 readings" in next_step(told)


def test_three_operators_leave_even_the_manuals_own_study_open() -> None:
    """AIAG Measurement Systems Analysis, 4th ed., chapter III, 10 x 3 x 3: 4.99 levels."""
    told = spread(crossed(readings("gauge_rr_10x3x3_anova")))
    assert told is not None and told.distinct[0] < 4.99 < told.distinct[1] < 12
    text = " ".join(in_words(told))
    assert "3 operators say little of how operators differ" in text and "worthless" not in text
    assert "more operators" in next_step(told)


def test_a_bench_surely_good_enough_goes_on_to_a_study_and_a_poor_one_is_mended() -> None:
    good = spread(from_table(8, 20, 3, 0.3, 900.0, 0.3, 0.25))
    assert good is not None and not good.open_both_ways
    assert next_step(good).endswith("bladerig study init study.toml")
    poor = spread(from_table(8, 20, 3, 60.0, 20.0, 4.0, 4.0))
    assert poor is not None and "mend it" in next_step(poor)


def test_hands_that_add_nothing_are_none_seen_and_not_nought() -> None:
    found = crossed([[[60.0, 60.2], [62.0, 62.3]], [[60.1, 60.3], [62.3, 62.1]]])
    assert found.reproducibility == 0
    assert "Between hands: none seen beyond the rest. Both" in side_words.capability(found, "")


def test_readings_without_scatter_have_no_interval() -> None:
    assert spread(crossed([[[1.0, 1.0], [2.0, 2.0]]] * 2)) is None
    assert "finer resolution" in next_step(None)
