"""Edge lives compared: what probes leave open, furnace loads, and sentences that agree."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rig.measure.life import Life
from rig.study.answers import bound_words
from rig.study.answers.lines import headline, of_bounds, open_by
from rig.study.statistics.data import LOG, Group, Response, StudyData
from rig.study.statistics.lives import LifeResult, as_values, beside, compare_lives
from rig.study.statistics.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN

LIFE = Response("edge life", "cuts", LOG, 1.3, 1.25)
Ends = tuple[float, float]


def compared(
    given_: dict[str, Sequence[Ends]], loads: dict[str, str] | None = None, control: str = "A"
) -> LifeResult:
    """Lives of groups, all from one furnace load unless said."""
    lives = [
        Life(f"{name}{n}", name, *ends)
        for name, row in given_.items()
        for n, ends in enumerate(row)
    ]
    known = loads or {life.specimen: "one" for life in lives}
    groups = tuple(Group(name, name == control) for name in given_)
    return compare_lives(lives, StudyData(LIFE, groups, tuple(as_values(lives, known))))


def row(*starts: float, ratio: float = 1.1) -> list[Ends]:
    """Intervals that begin there."""
    return [(start, start * ratio) for start in starts]


def test_lives_without_bounds_are_decided_by_welchs_test_of_their_middles() -> None:
    """scipy.stats.ttest_ind for unequal scatters; the verdict's p is that at its worst."""
    one, two = row(100, 130, 95, 118), row(160, 240, 190, 205)
    told = compared({"A": one, "B": two}).comparisons[0]
    logs = [[math.log(low * high) / 2 for low, high in side] for side in (two, one)]
    p = float(stats.ttest_ind(*logs, equal_var=False).pvalue)
    assert p <= told.p < 2.5 * p and told.verdict == SHOWN
    assert told.effect == pytest.approx(math.exp(np.mean(logs[0]) - np.mean(logs[1])))


def test_three_against_three_can_show_a_doubled_life() -> None:
    told = compared({"A": row(100, 121, 110), "B": row(212, 246, 230)})
    assert told.verdict == SHOWN


def test_a_group_that_dulled_at_one_probe_has_the_probes_width_for_its_scatter() -> None:
    """Its true mean may lie anywhere between the two: no certainty comes from coarse probes."""
    tied, near = [(100.0, 150.0)] * 6, [(150.0, 225.0)] * 6
    (told,) = compared({"A": tied, "B": near}).comparisons
    assert told.low < 1.5 < told.high and told.high / told.low > 2
    (far,) = compared({"A": tied, "B": [(400.0, 600.0)] * 6}).comparisons
    assert far.verdict == SHOWN


def test_lives_all_alike_at_one_probe_are_never_ruled_out() -> None:
    (told,) = compared({"A": row(100, 100, 100), "B": row(100, 100, 100)}).comparisons
    assert told.verdict == CANNOT_TELL and told.missed is not None and told.detectable is None


def test_edges_dull_at_their_first_probe_are_bounds() -> None:
    first: list[Ends] = [(0.0, 20.0)] * 2
    told = compared({"A": first + row(22, 25, 30), "B": row(60, 66, 70, 77, 85)}).comparisons[0]
    assert told.verdict == SHOWN and told.low > 1
    both = compared({"A": [(0.0, 20.0)] * 4, "B": [(0.0, 20.0)] * 4}).comparisons[0]
    assert both.verdict == CANNOT_TELL and "probe sooner" in both.reasons[0].text


def test_all_dull_at_once_against_all_still_sharp_is_a_difference() -> None:
    told = compared({"A": [(0.0, 20.0)] * 4, "B": [(400.0, math.inf)] * 4}).comparisons[0]
    assert told.verdict == SHOWN and told.low > 1 and math.isinf(told.high)


def test_the_log_rank_test_for_intervals_stands_beside_the_verdict() -> None:
    told = compared({"A": row(100, 120, 110, 130), "B": row(200, 220, 240, 190)})
    (one,) = beside(told)
    assert one.p == one.p_family == pytest.approx(2 / 70) and "cannot go below" in one.note
    apart = compared(
        {"A": row(100, 120), "B": row(200, 220)}, {f"{x}{n}": x for x in "AB" for n in (0, 1)}
    )
    assert beside(apart) == (), "blades of one load a recipe are not dealt"


def test_lives_of_one_furnace_load_a_recipe_say_what_the_loads_say() -> None:
    lives = {"A": row(100, 110, 120), "B": row(200, 220, 240)}
    loads = {f"{name}{n}": name for name in lives for n in range(3)}
    (told,) = compared(lives, loads).comparisons
    assert told.verdict == CANNOT_TELL and told.loads_differ is not None
    assert "Of these two loads only" in bound_words.survivors(told, LIFE)


def test_a_load_of_a_survivor_and_of_an_edge_dull_at_once_says_nothing_and_breaks_nothing() -> None:
    told = compared(
        {"A": [(20, math.inf), *row(100, 110)], "B": [(0.0, 20.0), (300, math.inf)]},
        {"A0": "1", "A1": "2", "A2": "3", "B0": "4", "B1": "4"},
    )
    (line,) = of_bounds(told, LIFE)
    assert told.verdict == CANNOT_TELL and "nan" not in line.sentence


@st.composite
def studies(draw: st.DrawFn) -> tuple[dict[str, list[Ends]], dict[str, str] | None]:
    """Groups of one to seven lives between probes, bounds among them, loads of every kind."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    ratio, last = draw(st.sampled_from([1.05, 1.25, 1.6])), draw(st.sampled_from([9, 60, 200]))
    probes = 20 * ratio ** np.arange(last)
    told: dict[str, list[Ends]] = {}
    for name in "ABC"[: draw(st.integers(1, 3))]:
        count = draw(st.integers(1, 7))
        for life in 60 * np.exp(rng.choice([-1.0, 0, 0, 0.7]) + 0.3 * rng.standard_normal(count)):
            at = int(np.searchsorted(probes, life))
            low = 0.0 if at == 0 else float(probes[at - 1])
            high = math.inf if at == last else float(probes[at])
            told.setdefault(name, []).append((low, high))
    kind = draw(st.sampled_from(["one", "own", "shared", "unknown"]))
    loads = {
        f"{name}{n}": {"own": f"{name}{n % 2}", "shared": f"{n % 3}", "unknown": ""}.get(
            kind, "one"
        )
        for name, lives in told.items()
        for n in range(len(lives))
    }
    return told, loads


@given(studies())
@settings(max_examples=120, deadline=None)
def test_headline_and_figures_of_lives_agree(
    drawn: tuple[dict[str, list[Ends]], dict[str, str] | None],
) -> None:
    """Direction, "shown" against interval and p, "ruled out" against margin."""
    told = compared(*drawn)
    lines = of_bounds(told, LIFE)
    head = f"{headline(LIFE, told.verdict, lines)} {open_by(told, LIFE)}"
    assert ("difference shown" in head) == any(c.verdict == SHOWN for c in told.comparisons)
    for c, line in zip(told.comparisons, lines, strict=True):
        apart = c.low > 1 or c.high < 1
        assert (c.verdict == SHOWN) <= (apart and c.p_adjusted <= LEVEL * (1 + 1e-6))
        assert (f"shown, {c.group} better" in line.sentence) == (c.verdict == SHOWN and c.low > 1)
        assert (f"shown, {c.group} worse" in line.sentence) == (c.verdict == SHOWN and c.high < 1)
        if c.verdict == RULED_OUT:
            assert 1 / LIFE.margin <= c.low <= c.high <= LIFE.margin
        if math.isfinite(c.effect) and math.isfinite(c.high):
            assert c.low <= c.effect <= c.high
        assert (c.missed is not None) == ("same two probes" in line.sentence)
        assert not ("would be found" in line.sentence and "same two probes" in line.sentence)
        for bad in ("nan", "None", "inf "):
            assert bad not in line.sentence
