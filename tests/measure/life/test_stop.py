"""The stop rule: when is an edge dull? (2 of 3 places on two probes: common practice, no source)"""

import math

import pytest

from rig.errors import RigError
from rig.measure.life import Probe, Stop, StopRule, Verdict, judge

RULE = StopRule(cut_limit=400)
FORCE = StopRule(cut_limit=400, places=0, force_limit_n=5.0)
BOTH = StopRule(cut_limit=400, force_limit_n=5.0)


def probes(*fails: int, step: int = 50, forces: tuple[float, ...] = ()) -> list[Probe]:
    """Probes every 50 cuts with so many of three places failing, and forces if any."""
    return [
        Probe(
            (i + 1) * step,
            tuple(place >= fail for place in range(3)),
            forces[i] if forces else None,
        )
        for i, fail in enumerate(fails)
    ]


def test_before_any_probe_the_test_goes_on() -> None:
    assert judge([], RULE) == Verdict(Stop.GO_ON, 0, math.inf)


def test_two_of_three_places_on_two_successive_probes_are_dull_from_the_first_of_them() -> None:
    assert judge(probes(0, 1, 2, 2), RULE) == Verdict(Stop.DULL, 100, 150)
    assert judge(probes(0, 1, 2, 3), RULE) == Verdict(Stop.DULL, 100, 150)
    assert judge(probes(3, 3), RULE) == Verdict(Stop.DULL, 0, 50)


def test_one_failed_probe_is_not_enough_and_a_pass_after_it_starts_anew() -> None:
    assert judge(probes(0, 1, 2), RULE) == Verdict(Stop.GO_ON, 100, math.inf, 1)
    assert judge(probes(0, 2, 1), RULE) == Verdict(Stop.GO_ON, 150, math.inf)
    assert judge(probes(0, 2, 1, 2), RULE) == Verdict(Stop.GO_ON, 150, math.inf, 1)
    assert judge(probes(0, 2, 1, 2, 2), RULE) == Verdict(Stop.DULL, 150, 200)


def test_one_failing_place_never_makes_an_edge_dull() -> None:
    assert judge(probes(1, 1, 1, 1), RULE).stop is Stop.GO_ON


def test_at_the_limit_of_cuts_a_sharp_edge_is_a_survivor() -> None:
    assert judge(probes(*[0] * 8), RULE) == Verdict(Stop.CUT_LIMIT, 400, math.inf)


def test_a_last_fail_without_its_confirmation_is_no_failure() -> None:
    assert judge(probes(*[0] * 7, 3), RULE) == Verdict(Stop.CUT_LIMIT, 350, math.inf, 1)


def test_dull_at_the_limit_of_cuts_is_dull() -> None:
    assert judge(probes(*[0] * 6, 3, 3), RULE) == Verdict(Stop.DULL, 300, 350)


def test_a_force_above_its_limit_is_dull_at_once() -> None:
    told = [Probe(50, force_n=4.0), Probe(100, force_n=5.0), Probe(150, force_n=5.1)]
    assert judge(told[:2], FORCE) == Verdict(Stop.GO_ON, 100, math.inf)
    assert judge(told, FORCE) == Verdict(Stop.FORCE, 100, 150)


def test_with_both_rules_the_first_to_strike_stops_the_test() -> None:
    assert judge(probes(0, 2, 2, forces=(2, 3, 4)), BOTH) == Verdict(Stop.DULL, 50, 100)
    assert judge(probes(0, 0, 0, forces=(2, 3, 6)), BOTH) == Verdict(Stop.FORCE, 100, 150)
    # An unconfirmed fail before the force struck is now confirmed.
    assert judge(probes(0, 2, 0, forces=(2, 3, 6)), BOTH) == Verdict(Stop.FORCE, 50, 100)
    assert judge(probes(0, 2, 2, forces=(2, 3, 6)), BOTH) == Verdict(Stop.FORCE, 50, 100)


def test_a_procedure_gets_the_same_verdict_by_asking_after_each_probe() -> None:
    told = probes(0, 1, 2, 2, 0)
    stops = [judge(told[: i + 1], RULE).stop for i in range(4)]
    assert stops == [Stop.GO_ON] * 3 + [Stop.DULL]
    assert judge(told, RULE) == judge(told[:4], RULE)


@pytest.mark.parametrize(
    ("told", "rule"),
    [
        ([Probe(50, (True, True))], RULE),
        ([Probe(50, (True,) * 3), Probe(50, (True,) * 3)], RULE),
        ([Probe(-1, (True,) * 3)], RULE),
        ([Probe(50)], FORCE),
        ([Probe(50, force_n=math.nan)], FORCE),
        ([Probe(50, (True,) * 3, -1.0)], RULE),
    ],
)
def test_probes_that_do_not_fit_the_rule_are_refused(told: list[Probe], rule: StopRule) -> None:
    with pytest.raises(RigError) as error:
        judge(told, rule)
    assert "probe at" in error.value.where


@pytest.mark.parametrize(
    "settings",
    [
        {"cut_limit": 0},
        {"cut_limit": 10, "successive": 0},
        {"cut_limit": 10, "failing": 4},
        {"cut_limit": 10, "failing": 0},
        {"cut_limit": 10, "places": 0},
    ],
)
def test_a_rule_that_can_never_work_is_refused(settings: dict[str, int]) -> None:
    with pytest.raises(RigError):
        StopRule(**settings)  # type: ignore[arg-type]
