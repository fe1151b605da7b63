"""A trial that several blades share: a staircase only, of blades alike; each blade counts once."""

from datetime import UTC, datetime

import pytest

from rig.guide.verdict import Verdict
from rig.logbook.records import Run
from rig.study.register.collect import Collected, collect
from rig.study.register.trials import Trial
from tests.study.books import record

NOW = datetime(2031, 5, 6, tzinfo=UTC)
LOADS = {"A1": "L1", "A2": "L1", "A3": "L1", "A4": "L2", "B1": "L1", "B2": "L1"}
VALUES = {"staircase_impact": "failure_energy", "pry_to_failure": "peak_torque"}
ASKED = {"staircase_impact": "staircase_energy", "pry_to_failure": "pry_torque"}


def collected(*trials: str, procedure: str = "staircase_impact") -> Collected:
    """What counts of trials given by their blades: "A1,A2" is shared, its value 5."""
    study = record({"A": 4, "B": 2}, [ASKED[procedure]], loads=LOADS)
    made = [
        Trial(
            blades, Run(n, procedure, "5eed", {}, {"device": "port"}, NOW, NOW, "finished", ""),
            NOW, tuple(blades.split(",")), Verdict.judged(blades, blades),
            {VALUES[procedure]: {"value": 5.0, "u": 0.1}},
        )
        for n, blades in enumerate(trials, 1)
    ]  # fmt: skip
    (told,) = collect(made, study, {name: name for name in LOADS})
    assert len(told.observations) + len(told.excluded) == len(trials), "none goes silently"
    return told


@pytest.mark.parametrize(
    ("blades", "reason"),
    [
        ("A1,B1", "its blades are of different groups: it speaks for none of them"),
        ("A1,A4", "its blades come from different furnace loads: it speaks for none of them"),
        ("A1,A1", "it names a blade twice"),
    ],
)
def test_a_shared_trial_of_unlike_blades_is_left_out_and_says_why(blades: str, reason: str) -> None:
    told = collected(blades)
    assert not told.observations and told.excluded[0].reasons == (reason,)


def test_only_a_staircase_may_be_shared() -> None:
    told = collected("A1,A2", procedure="pry_to_failure")
    (left,) = told.excluded
    assert left.reasons == ("it names several blades: only a staircase may be shared",)


@pytest.mark.parametrize("later", ["A1", "A2,A3"])
def test_a_blade_counts_once_alone_or_with_the_same_others(later: str) -> None:
    told = collected("A1,A2", later)
    assert [seen.blade for seen in told.observations] == ["A1 + A2"]
    assert "counts in an earlier trial, with other blades or alone" in told.excluded[0].reasons[0]


def test_the_same_blades_in_another_order_are_a_repeat() -> None:
    told = collected("A1,A2", "A2,A1")
    assert [seen.blade for seen in told.observations] == ["A1 + A2"] * 2
