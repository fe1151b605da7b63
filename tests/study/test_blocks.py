"""Blocks beside the verdict: what leaving them out of the test does, and what is said of them."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from rig.study.answers import blocks
from rig.study.answers.blocks import differences
from rig.study.answers.whole import unsealed
from rig.study.register.order import balanced_blocks
from rig.study.statistics.compare import compare
from rig.study.statistics.data import LINEAR, Response
from rig.study.statistics.verdict import judge
from rig.study.statistics.welch import welch
from tests.study.blades import study
from tests.study.books import begin, record

STUDIES = 4000
DAYS = ("day 1", "day 2")
LENGTH = Response("length", "mm", LINEAR, 1.0, 1.0)


def false_alarms(counts: Sequence[Sequence[int]], block_sd: float) -> float:
    """Share of studies of groups alike in which any comparison with the first shows a difference.

    Args:
        counts: of blades, group by group and block by block.
        block_sd: scatter of blocks; that of blades is 1.
    """
    rng, blades = np.random.default_rng(5), sum(counts[0])
    block = rng.standard_normal((STUDIES, len(counts[0]))) * block_sd
    drawn = [
        rng.standard_normal((STUDIES, blades)) + block[:, np.repeat(range(len(own)), own)]
        for own in counts
    ]
    means = [y.mean(axis=1) for y in drawn]
    spreads = [y.var(axis=1, ddof=1) / blades for y in drawn]
    d = np.stack([m - means[0] for m in means[1:]], axis=1)
    told = [
        welch(d[:, i], v, blades - 1, spreads[0], blades - 1) for i, v in enumerate(spreads[1:])
    ]
    se, dof = (np.stack([one[k] for one in told], axis=1) for k in (0, 1))
    judged = judge(d, se, dof, [(blades - 1, blades - 1)] * len(told), 1.0)
    return float(judged.shown.any(axis=1).mean())


@pytest.mark.parametrize("blades", [3, 4, 5, 6])
def test_blocks_as_the_order_deals_them_never_make_a_difference(blades: int) -> None:
    groups = {name: [f"{name}{i}" for i in range(blades)] for name in "ABC"}
    dealt = balanced_blocks(groups, DAYS, "a secret")
    counts = [[sum(code[0] == name for code in dealt[day]) for day in DAYS] for name in "ABC"]
    for block_sd in (0.0, 0.5, 1.0, 3.0):
        limit = 0.05 + 3 * np.sqrt(0.05 * 0.95 / STUDIES)
        assert false_alarms(counts, block_sd) <= limit, (counts, block_sd)


def test_groups_apart_in_the_blocks_are_what_the_page_must_warn_of() -> None:
    assert false_alarms([(6, 0), (0, 6)], 1.0) > 0.3
    data = study({"A": [1.0, 2.0, 3.0], "B": [4.0, 5.0, 6.5]}, LENGTH)
    days = {seen.blade: DAYS[seen.group == "B"] for seen in data.observations}
    (text,) = blocks.sentences(data, days)
    assert "not balanced" in text and "A: 3 in day 1, 0 in day 2" in text
    assert "may look like a difference between groups" in text


def shifted(values: Sequence[float], shift: float) -> list[tuple[float, str, str]]:
    """Rows of groups A and B, days in turn, the second day `shift` higher."""
    groups = ["A"] * (len(values) // 2) + ["B"] * (len(values) - len(values) // 2)
    return [
        (value + shift * (day == DAYS[1]), group, day)
        for value, group, day in zip(values, groups, cycle(DAYS), strict=False)
    ]


def test_one_group_in_two_blocks_is_student_of_scipy() -> None:
    first, second = [9.1, 10.4, 9.7, 10.9], [11.0, 12.1, 11.4]
    rows = [(x, "A", DAYS[0]) for x in first] + [(x, "A", DAYS[1]) for x in second]
    ((middle, reach),) = differences(rows, DAYS).values()
    told = stats.ttest_ind(second, first).confidence_interval(0.95)
    assert (middle - reach, middle + reach) == pytest.approx((told.low, told.high))


def test_groups_held_equal_is_the_regression_of_scipy_on_what_groups_leave() -> None:
    """Frisch, Waugh and Lovell: slope of residuals on residuals, with the right freedom."""
    drawn: NDArray[np.float64] = np.random.default_rng(3).normal(10, 1, 11)
    rows = shifted(drawn.tolist(), 0.7)
    ((middle, reach),) = differences(rows, DAYS).values()
    y = np.array([row[0] for row in rows])
    x = np.array([float(row[2] == DAYS[1]) for row in rows])
    for name in "AB":
        mine = np.array([row[1] == name for row in rows])
        y[mine] -= y[mine].mean()
        x[mine] -= x[mine].mean()
    line, dof = stats.linregress(x, y), len(rows) - 3
    se = line.stderr * np.sqrt((len(rows) - 2) / dof)
    assert middle == pytest.approx(line.slope)
    assert reach == pytest.approx(stats.t.isf(0.025, dof) * se)


def test_what_blocks_differ_by_is_told_beside_the_verdict() -> None:
    rows = shifted([1.0, 1.1, 0.9, 1.0, 2.0, 2.1, 1.9, 2.0], 0.5)
    data = study({name: [row[0] for row in rows if row[1] == name] for name in "AB"}, LENGTH)
    turns = zip(data.observations, cycle(DAYS), strict=False)
    (text,) = blocks.sentences(data, {seen.blade: day for seen, day in turns})
    middle, reach = differences(rows, DAYS)["day 2"]
    assert "same weight in both groups" in text and "hide a difference, not make one" in text
    assert f"Day 2 against day 1, within groups: {middle:.2g} mm more" in text
    assert f"and {middle + reach:.2f} mm more" in text


def test_the_answer_of_a_study_in_blocks_tells_of_them_and_of_one_block_nothing(
    tmp_path: Path,
) -> None:
    for days in (DAYS, ("all",)):
        made = begin(tmp_path / f"{len(days)}.logbook", record({"A": 4, "B": 4}, blocks=list(days)))
        for n, blade in enumerate(made.code):
            made.pry(blade, 10.0 + n)
        made.unseal()
        made.book.close()
        (one,) = unsealed(made.book.path).answers
        said = [note for note in one.notes if note.startswith("Blocks (day 1, day 2) have")]
        assert len(said) == len(days) - 1


def test_odd_numbers_lie_in_the_blocks_so_that_they_favour_no_group() -> None:
    """3 blades over 2 days, A two and one, B one and two: without weights a third of the shift."""
    days = {"A1": "d1", "A2": "d1", "A3": "d2", "B1": "d1", "B2": "d2", "B3": "d2"}
    values = {"A": [1.0, 1.2, 1.1], "B": [1.05, 1.15, 1.2]}
    told = []
    for shift in (0.0, 9.0):
        moved = {
            name: [x + shift * (days[f"{name}{i + 1}"] == "d2") for i, x in enumerate(row)]
            for name, row in values.items()
        }
        told.append(compare(replace(study(moved, LENGTH), block_of=days)).comparisons[0])
    assert told[0].effect == pytest.approx(told[1].effect), "the day cancels"
    assert told[0].effect == pytest.approx((1.05 + 1.175) / 2 - (1.1 + 1.1) / 2)
    assert told[1].p > told[0].p, "and stays in the scatter"


def test_no_blade_falls_out_for_a_block_that_holds_one_group_only() -> None:
    days = {"A1": "d1", "A2": "d2", "A3": "d3", "B1": "d2", "B2": "d3", "B3": "d4"}
    data = study({"A": [1.0, 1.2, 1.1], "B": [1.6, 1.5, 1.7]}, LENGTH)
    one, two = (compare(replace(data, block_of=d)).comparisons[0] for d in (days, {}))
    assert one == two, "every blade speaks"
    (text,) = blocks.sentences(data, days)
    assert "not balanced" in text and "left to the chance" in text
