"""Probes to a life: an interval or a bound, never a number out of it; what makes it not count."""

import math

from hypothesis import given
from hypothesis import strategies as st

from rig.measure.life import Probe, StopRule
from rig.measure.life.evaluate import Cutting, Probed, evaluate_edge_life

RULE = StopRule(cut_limit=200)
CUT = Cutting(120, {})


def probed(cuts: int, fails: int, force_n: float | None = None) -> Probed:
    places = (False,) * fails + (True,) * (3 - fails)
    return Probed(Probe(cuts, places, force_n), None if force_n is None else 0.05, 6.0)


def test_two_failing_probes_give_an_interval_from_the_last_pass_to_the_first_fail() -> None:
    told = evaluate_edge_life([probed(50, 0), probed(75, 2), probed(100, 3)], RULE, CUT, True)
    assert told["life"] == {"last_pass_cuts": 50.0, "first_fail_cuts": 75.0}
    assert told["stop"] == "dull: marked places failed" and not told["reasons"]


def test_a_probe_that_fails_and_passes_again_is_no_end() -> None:
    told = evaluate_edge_life([probed(50, 2), probed(75, 1), probed(200, 1)], RULE, CUT, True)
    assert told["life"] == {"last_pass_cuts": 200.0, "first_fail_cuts": None}
    assert told["stop"] == "limit of cuts reached, still sharp"


def test_a_test_broken_off_after_one_failing_probe_states_a_bound_and_the_open_fail() -> None:
    told = evaluate_edge_life([probed(50, 0), probed(75, 2)], RULE, CUT, True)
    assert told["life"] == {"last_pass_cuts": 50.0, "first_fail_cuts": None}
    assert told["unconfirmed"] == 1 and told["stop"] == "ended before the rule did"


def test_an_edge_not_sharp_at_the_start_has_no_life() -> None:
    told = evaluate_edge_life([], RULE, CUT, accepted=False)
    assert told["life"] is None
    assert [reason["name"] for reason in told["reasons"]] == ["not_sharp_at_start"]


def test_a_test_without_any_probe_knows_nothing() -> None:
    told = evaluate_edge_life([], RULE, CUT, True)
    assert [reason["name"] for reason in told["reasons"]] == ["nothing_known"]


def test_many_strokes_that_were_not_counted_make_the_count_doubtful() -> None:
    probes = [probed(50, 0)]
    few = evaluate_edge_life(probes, RULE, Cutting(50, {"partial": 5}), True)
    many = evaluate_edge_life(probes, RULE, Cutting(50, {"partial": 4, "too_fast": 2}), True)
    assert not few["reasons"]
    assert [reason["name"] for reason in many["reasons"]] == ["count_doubtful"]


def test_measured_forces_tell_where_they_passed_their_limit_beside_the_interval() -> None:
    rule = StopRule(cut_limit=200, places=0, force_limit_n=1.5)
    probes = [
        Probed(Probe(cuts, (), force), 0.05, 6.0)
        for cuts, force in ((50, 1.0), (100, 1.4), (150, 1.8))
    ]
    told = evaluate_edge_life(probes, rule, CUT, True)
    assert told["life"] == {"last_pass_cuts": 100.0, "first_fail_cuts": 150.0}
    # On the straight line between the probes: 100 + 50 (1.5 - 1.4)/(1.8 - 1.4).
    assert math.isclose(told["figures"]["crossing_cuts"], 112.5)
    assert told["figures"]["crossing_low"] < 112.5 < told["figures"]["crossing_high"]


@given(st.lists(st.integers(0, 3), min_size=1, max_size=8))
def test_a_life_never_claims_more_than_its_probes(fails: list[int]) -> None:
    probes = [probed(10 * (n + 1), f) for n, f in enumerate(fails)]
    told = evaluate_edge_life(probes, RULE, CUT, True)
    low, high = told["life"]["last_pass_cuts"], told["life"]["first_fail_cuts"]
    passed = [one.probe.cuts for one in probes if one.probe.passed.count(False) < 2]
    assert low in (0.0, *map(float, passed))
    if high is not None:
        index = [one.probe.cuts for one in probes].index(int(high))
        assert all(one.probe.passed.count(False) >= 2 for one in probes[index : index + 2])
