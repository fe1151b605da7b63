"""Groups compared: what is counted, what is said, and what cannot be said."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rig.errors import RigError
from rig.study.answers import words
from rig.study.statistics.compare import compare
from rig.study.statistics.contrasts import one_load_each
from rig.study.statistics.data import LINEAR, Group, Observation, Response, StudyData
from rig.study.statistics.effect import hedges_g, noncentral_interval, small_sample_factor
from rig.study.statistics.units import BLADE_IN_LOAD, LOAD, PAIR_IN_LOAD
from rig.study.statistics.verdict import CANNOT_TELL, RULED_OUT, SHOWN, overall
from tests.published import load
from tests.study.blades import TORQUE, drawn, study

KINDS = {SHOWN, RULED_OUT, CANNOT_TELL}


def test_a_large_difference_is_shown_and_a_tiny_one_ruled_out() -> None:
    rng = np.random.default_rng(1)
    told = compare(study(drawn(rng, (1.0, 1.6, 1.0), blades=8, scatter=0.08)))
    one, two = told.comparisons
    assert one.verdict == SHOWN and one.low < 1.6 < one.high and one.low > 1
    assert two.verdict == RULED_OUT and 1 / 1.2 < two.low < 1 < two.high < 1.2
    assert told.verdict == SHOWN
    assert told.detectable is not None and 1 < told.detectable < 1.6


def test_a_wide_scatter_gives_cannot_tell_and_what_would_have_been_found() -> None:
    told = compare(study({"A": [10.0, 14.0, 8.0], "B": [11.0, 9.0, 15.0]}))
    assert told.verdict == CANNOT_TELL
    assert told.detectable is not None and told.detectable > 2


def test_repeats_on_one_blade_are_not_counted() -> None:
    blades = {"A": [10.0, 11.0, 12.0], "B": [13.0, 14.0, 15.0]}
    many = {name: [[x] * 20 for x in values] for name, values in blades.items()}
    once, often = compare(study(blades)).comparisons[0], compare(study(many)).comparisons[0]
    assert often.p == pytest.approx(once.p) and often.dof == pytest.approx(once.dof)


def test_one_blade_a_group_gives_a_ratio_and_no_statement() -> None:
    told = compare(study({"A": [[10.0, 10.1, 9.9]], "B": [[20.0, 20.1, 19.9]]}))
    only = told.comparisons[0]
    assert only.effect == pytest.approx(2.0, rel=0.01)
    assert math.isnan(only.p) and only.verdict == CANNOT_TELL and only.detectable is None
    assert "one blade, 3 trials" in only.reasons[0].text


def test_a_thin_group_does_not_silence_the_others() -> None:
    rng = np.random.default_rng(2)
    values = drawn(rng, (1.0, 2.0, 1.0), blades=6, scatter=0.05)
    values["C"] = values["C"][:1]
    one, two = compare(study(values)).comparisons
    assert one.verdict == SHOWN and two.verdict == CANNOT_TELL
    assert two.reasons[0].text.startswith("C:")


def test_one_load_a_recipe_cannot_be_told_from_the_load() -> None:
    rng = np.random.default_rng(3)
    loads = {name: [f"load {name}"] * 8 for name in "AB"}
    told = compare(study(drawn(rng, (1.0, 2.0), blades=8), loads=loads))
    assert told.layout.unit == LOAD and told.verdict == CANNOT_TELL
    assert "cannot be told from the load" in told.comparisons[0].reasons[0].text
    assert one_load_each(told.layout, [("B", "A")])


def test_several_loads_a_recipe_count_as_the_units() -> None:
    rng = np.random.default_rng(4)
    loads = {name: [f"{name}{i % 3}" for i in range(9)] for name in "AB"}
    told = compare(study(drawn(rng, (1.0, 2.0), blades=9), loads=loads))
    assert told.layout.unit == LOAD
    assert [group.units for group in told.layout.groups] == [3, 3]
    assert told.comparisons[0].dof <= 4


def test_shared_loads_drop_out_of_the_difference() -> None:
    rng = np.random.default_rng(5)
    heat = np.exp([0.0, 0.5, -0.5])
    values = {
        name: [
            [10 * ratio * heat[i % 3] * math.exp(0.03 * rng.standard_normal())] for i in range(9)
        ]
        for name, ratio in (("A", 1.0), ("B", 1.3))
    }
    loads = {name: [f"load {i % 3}" for i in range(9)] for name in "AB"}
    told = compare(study(values, loads=loads))
    assert told.layout.unit == PAIR_IN_LOAD and told.verdict == SHOWN
    assert told.comparisons[0].dof == 2, "three loads give three differences"
    assert compare(study(values)).verdict == CANNOT_TELL  # the loads as scatter hide it


def test_two_shared_loads_compare_blades_within_them_and_say_what_is_taken_for_granted() -> None:
    rng = np.random.default_rng(6)
    heat = np.exp([0.5, -0.5])
    values = {
        name: [
            [10 * ratio * heat[i % 2] * math.exp(0.03 * rng.standard_normal())] for i in range(6)
        ]
        for name, ratio in (("A", 1.0), ("B", 1.2))
    }
    loads = {name: [f"load {i % 2}" for i in range(6)] for name in "AB"}
    told = compare(study(values, loads=loads))
    assert told.layout.unit == BLADE_IN_LOAD and told.verdict == SHOWN
    assert "2 shared loads cannot test that" in told.comparisons[0].assumes


def test_a_load_that_treats_recipes_unlike_is_scatter_where_three_are_shared() -> None:
    """Tempered apart: within each load B is far from A, now above and now below."""
    apart = {"load 0": 1.4, "load 1": 0.7, "load 2": 1.3, "load 3": 0.75}
    loads = {name: [load for load in apart for _ in range(3)] for name in "AB"}
    rng = np.random.default_rng(7)
    values = {
        name: [10 * (apart[load] if name == "B" else 1.0) * math.exp(0.02 * rng.standard_normal())
               for load in loads[name]]
        for name in "AB"
    }  # fmt: skip
    one = compare(study(values, loads=loads)).comparisons[0]
    assert one.p > 0.5 and one.assumes == ""


def test_one_blade_of_each_group_in_a_load_gives_differences() -> None:
    """The paired t test of the sleep data: R's documentation of t.test (Student 1908)."""
    given = load("paired_vs_unpaired_sleep")
    a, b = given["inputs"]["a"], given["inputs"]["b"]
    length = Response("sleep", "h", LINEAR, 1.0, 1.0)
    loads = {name: [f"load {i}" for i in range(10)] for name in "AB"}
    told = compare(study({"B": b, "A": a}, length, control="B", loads=loads))
    one, wanted = told.comparisons[0], given["expected"]["paired"]
    assert told.layout.unit == PAIR_IN_LOAD and one.dof == wanted["df"]
    assert one.p == pytest.approx(wanted["p"], abs=6e-7)
    assert (one.low, one.high) == pytest.approx((wanted["low"], wanted["high"]), abs=6e-8)
    assert one.effect == pytest.approx(wanted["mean_difference"])


def test_a_lost_blade_leaves_what_the_rest_shows() -> None:
    """Three groups in four loads, one blade of each: A loses the blade of load 3, C that of 1."""
    rng = np.random.default_rng(8)
    ratio, heat = {"A": 1.0, "B": 1.5, "C": 1.02}, [1.0, 1.3, 0.8, 1.1]
    whole = {
        name: {f"load {i}": 10 * ratio[name] * h * math.exp(0.02 * rng.standard_normal())
               for i, h in enumerate(heat)}
        for name in ratio
    }  # fmt: skip
    del whole["A"]["load 3"], whole["C"]["load 1"]
    loads = {name: list(own) for name, own in whole.items()}
    told = compare(study({name: list(own.values()) for name, own in whole.items()}, loads=loads))
    b, c = told.comparisons
    assert b.verdict == SHOWN and b.dof == 2 and b.effect == pytest.approx(1.5, rel=0.05)
    assert c.dof == 1 and math.isfinite(c.p), "two loads hold both"
    both = [load for load in loads["C"] if load in loads["A"]]
    d = [math.log(whole["C"][load] / whole["A"][load]) for load in both]
    assert c.p == pytest.approx(stats.ttest_1samp(d, 0.0).pvalue)


def test_loads_that_hold_some_of_the_groups_say_what_they_can() -> None:
    values = {"A": [10.0, 11.0, 12.0, 10.5], "B": [17.0, 18.0, 16.5, 19.0]}
    loads = {"A": ["1", "1", "2", "2"], "B": ["2", "2", "3", "3"]}
    told = compare(study(values, loads=loads)).comparisons[0]
    assert math.isfinite(told.p), "load 2 holds both"
    wanted = math.log(17.0 * 18.0) / 2 - math.log(12.0 * 10.5) / 2
    assert told.effect == pytest.approx(math.exp(wanted)), "and alone speaks of the difference"
    alone = {"A": ["1", "1", "2", "4"], "B": ["2", "5", "3", "3"]}
    one = compare(study({**values, "B": values["B"]}, loads=alone)).comparisons[0]
    assert math.isfinite(one.p), "scatter from blades of other loads"


def test_blades_whose_load_is_not_known_count_as_one_load_of_their_group() -> None:
    values = {"A": [10.0, 11.0, 12.0, 13.0], "B": [12.0, 13.0, 14.0, 15.0]}
    for unknown in ("", "unknown", "Unknown "):
        loads = {"A": ["1", unknown, unknown, unknown], "B": ["2", "2", "3", "3"]}
        told = compare(study(values, loads=loads))
        assert told.layout.unit == LOAD
        assert told.layout.group("A").units == 2
        assert "load_unknown" in {reason.name for reason in told.reasons}


def test_loads_not_known_at_all_tell_no_recipe_from_its_load() -> None:
    values = {"A": [10.0, 10.1, 9.9, 10.2], "B": [15.0, 15.2, 14.9, 15.1]}
    nothing = {name: ["unknown"] * 4 for name in values}
    told = compare(study(values, loads=nothing))
    (one,) = told.comparisons
    assert told.verdict == CANNOT_TELL and one_load_each(told.layout, [("B", "A")])
    assert one.reasons[0].name == "one_load_each"
    assert one.loads_differ is not None and 1.4 < one.loads_differ.low < 1.6, "of these loads"
    named = compare(study(values, loads={name: [name] * 4 for name in values})).comparisons[0]
    assert named.loads_differ == replace(one.loads_differ, known=True), "as with loads by name"
    for text, known in ((words.comparison(one, TORQUE), False),
                        (words.comparison(named, TORQUE), True)):  # fmt: skip
        assert ("Of these two loads only" in text) == known
        assert ("whatever loads they came from" in text) != known
        assert ("had one furnace load each" in text) == known


def test_blades_whose_load_holds_no_partner_are_named_in_the_comparison_they_miss() -> None:
    """A lost blade leaves its partner alone: counted as tested, and used in no difference."""
    rng, load = np.random.default_rng(3), ["1", "2", "3", "4"]
    values = drawn(rng, (1.0, 1.5, 1.5), blades=4)
    values["B"] = values["B"][:3]  # the one in load 4 is lost
    told = compare(study(values, loads={"A": load, "B": load[:3], "C": load}))
    without = study({"A": values["A"][:3], "B": values["B"]}, loads={"A": load[:3], "B": load[:3]})
    one, two = told.comparisons
    assert one.effect == compare(without).comparisons[0].effect, "A4 tells nothing of B"
    assert "A4 is not used here: no blade of the other group" in words.comparison(one, TORQUE)
    assert "not used" not in words.comparison(two, TORQUE)
    pairs = ["1", "1", "2", "2"]
    two_loads = {"A": pairs, "B": pairs[:3]}
    values = drawn(rng, (1.0, 1.5), blades=4)
    kept = {"A": values["A"], "B": values["B"][:2]}  # both of load 2 are lost
    told = compare(study(kept, loads={"A": pairs, "B": two_loads["B"][:2]}))
    text = words.comparison(told.comparisons[0], TORQUE)
    assert "A3 and A4 are used here for the scatter only" in text


def test_without_a_control_all_pairs_are_compared_and_it_is_said() -> None:
    rng = np.random.default_rng(6)
    told = compare(study(drawn(rng, (1.0, 1.0, 1.0, 1.0)), control=None))
    assert len(told.comparisons) == 6
    assert "no_control" in {reason.name for reason in told.reasons}


def test_values_all_the_same_give_a_reason_and_no_crash() -> None:
    told = compare(study({"A": [10.0, 10.0, 10.0], "B": [11.0, 11.0, 11.0]}))
    assert told.verdict == CANNOT_TELL
    assert told.comparisons[0].reasons[0].name == "no_scatter"


def test_values_the_same_but_for_the_last_bit_of_their_mean_have_no_scatter() -> None:
    depth = Response("depth", "mm", LINEAR, 0.1, 0.1)
    values = {"A": [[0.1, 0.1, 0.1], [0.1]], "B": [[0.13, 0.13, 0.13], [0.13]]}
    told = compare(study(values, depth))
    assert told.verdict == CANNOT_TELL
    assert told.comparisons[0].reasons[0].name == "no_scatter"


def test_one_group_with_no_scatter_is_still_compared() -> None:
    told = compare(study({"A": [10.0, 10.0, 10.0], "B": [11.0, 11.5, 12.0]}))
    assert math.isfinite(told.comparisons[0].p) and told.detectable is not None


@pytest.mark.parametrize("values", [{}, {"A": [1.0, 2.0]}, {"A": [], "B": []}])
def test_nothing_to_compare_is_cannot_tell(values: dict[str, list[float]]) -> None:
    assert compare(study(values)).verdict == CANNOT_TELL


def _one(**changes: object) -> StudyData:
    seen = Observation(**{"group": "A", "blade": "A1", "value": 1.0, **changes})  # type: ignore[arg-type]
    other = Observation("A", "A1", 2.0, trials=("t",))
    return StudyData(TORQUE, (Group("A"),), (seen, other))


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (_one(group="X", blade="X1"), "unknown group X"),
        (_one(value=0.0), "peak torque is 0 N.m"),
        (_one(value=math.nan), "value nan"),
        (_one(u=-1.0), "u -1.0"),
        (_one(load="7"), "furnace load is 7 and none"),
        (_one(trials=("t",)), "trial t is counted twice"),
        (StudyData(TORQUE, (Group("A"), Group("A")), ()), "group A is there twice"),
        (StudyData(TORQUE, (Group("A", True), Group("B", True)), ()), "controls are A and B"),
    ],
)
def test_data_that_contradict_themselves_are_refused(data: StudyData, what: str) -> None:
    with pytest.raises(RigError, match=what):
        compare(data)


def test_a_margin_below_one_is_refused_for_a_ratio() -> None:
    with pytest.raises(RigError, match=r"margin is 0\.9"):
        Response("life", "cuts", "log", 1.2, 0.9)


numbers = st.lists(st.floats(0.5, 200), min_size=0, max_size=6)


@given(st.dictionaries(st.sampled_from("ABCD"), numbers, min_size=0, max_size=4))
def test_any_values_give_one_of_three_verdicts(values: dict[str, list[float]]) -> None:
    told = compare(study(values))
    assert told.verdict in KINDS
    assert all(c.verdict in KINDS for c in told.comparisons)
    assert len(told.comparisons) == (
        len(values) * (len(values) - 1) // 2 if "A" not in values else len(values) - 1
    )
    for c in told.comparisons:  # nothing is said without a figure or a reason
        assert c.reasons or math.isfinite(c.p)


@given(st.dictionaries(st.sampled_from("ABCD"), numbers, min_size=2, max_size=4))
def test_every_verdict_is_what_its_interval_says(values: dict[str, list[float]]) -> None:
    for c in compare(study(values)).comparisons:
        if math.isfinite(c.p):
            assert (c.verdict == SHOWN) == (not c.low <= 1 <= c.high)
            inside = 1 / TORQUE.margin <= c.low and c.high <= TORQUE.margin
            assert inside or c.verdict != RULED_OUT
            assert not inside or c.verdict != CANNOT_TELL
            assert c.detectable is not None and c.detectable_upper is not None
            assert 1 < c.detectable <= c.detectable_upper


@given(st.floats(0.01, 100))
def test_units_of_measurement_do_not_matter(scale: float) -> None:
    rng = np.random.default_rng(7)
    values = drawn(rng, (1.0, 1.3), blades=4)
    scaled = {k: [[x * scale for x in b] for b in v] for k, v in values.items()}
    one, two = compare(study(values)).comparisons[0], compare(study(scaled)).comparisons[0]
    assert two.p == pytest.approx(one.p, rel=1e-6) and two.effect == pytest.approx(one.effect)


def test_linear_responses_are_compared_by_differences() -> None:
    hardness = Response("hardness", "HRC", LINEAR, 1.0, 1.0)
    values = {"A": [60.0, 60.4, 59.8, 60.1], "B": [62.1, 61.7, 62.4, 62.0]}
    only = compare(study(values, hardness)).comparisons[0]
    assert only.effect == pytest.approx(1.975) and only.verdict == SHOWN


def test_the_overall_verdict_needs_all_ruled_out() -> None:
    assert overall([RULED_OUT, RULED_OUT]) == RULED_OUT
    assert overall([RULED_OUT, CANNOT_TELL]) == CANNOT_TELL
    assert overall([SHOWN, CANNOT_TELL]) == SHOWN
    assert overall([]) == CANNOT_TELL


def test_hedges_factor_agrees_with_his_table() -> None:
    """Hedges 1981, table of the exact factor (from memory)."""
    assert small_sample_factor(2) == pytest.approx(0.5642, abs=5e-5)
    assert small_sample_factor(4) == pytest.approx(0.7979, abs=5e-5)
    assert small_sample_factor(6) == pytest.approx(0.8686, abs=5e-5)
    assert small_sample_factor(8) == pytest.approx(0.9027, abs=5e-5)


def test_the_interval_of_an_effect_holds_the_truth_as_often_as_it_says() -> None:
    rng, held = np.random.default_rng(9), 0
    for _ in range(400):
        told = hedges_g(rng.normal(1.2, 1, 5).tolist(), rng.normal(0, 1, 6).tolist())
        assert told is not None
        held += told.low / small_sample_factor(9) <= 1.2 <= told.high / small_sample_factor(9)
    assert 0.925 <= held / 400 <= 0.975


def test_a_noncentral_interval_puts_the_stated_tails_outside() -> None:
    from scipy import stats

    for t in (-4.0, 0.0, 0.3, 2.5, 30.0):
        low, high = noncentral_interval(t, 8, 0.95)
        assert stats.nct.sf(t, 8, low) == pytest.approx(0.025, abs=1e-6)
        assert stats.nct.cdf(t, 8, high) == pytest.approx(0.025, abs=1e-6)
