"""What the maker reads."""

import math

import numpy as np
import pytest
from scipy import stats

from rig.measure.staircase import Staircase, estimates
from rig.study.answers import bound_words, side_words, together, words
from rig.study.answers.lines import headline, of_values
from rig.study.statistics.agreement import Agreement, agreement
from rig.study.statistics.anova import components
from rig.study.statistics.capability import crossed
from rig.study.statistics.censored import compare_censored
from rig.study.statistics.compare import compare
from rig.study.statistics.contrasts import pairs_of
from rig.study.statistics.covariates import adjust
from rig.study.statistics.data import LESS, LINEAR, LOG, NEITHER, Response
from rig.study.statistics.parity import parity
from rig.study.statistics.phrases import amount, many, probability, size, span
from rig.study.statistics.rates import failure_rate
from tests.study.blades import TORQUE, drawn, study
from tests.study.test_survivors import limited

HARDNESS = Response("hardness", "HRC", LINEAR, 1.0, 1.0)
SOFT = Response("torque", "N.m", LOG, 1.2, 1.2, better=NEITHER)


def everything() -> list[str]:
    """Sentences of all kinds, for every verdict."""
    rng, said = np.random.default_rng(1), []
    for ratios, scatter, n in (((1, 1.6, 1), 0.08, 8), ((1, 1.1), 0.3, 3), ((1, 1), 0.1, 1)):
        data = study(drawn(rng, ratios, n, 2, scatter), u=0.05)
        told = compare(data)
        lines = of_values(told, adjust(data, told.layout, pairs_of(data)[0]))
        said += [headline(TORQUE, told.verdict, lines), words.counted(told.layout)]
        said += [words.comparison(c, TORQUE) for c in told.comparisons]
        said += [side_words.components(components(told.layout.blades), TORQUE)]
        said += [words.parity(parity(data))]
    for limit in (8.0, 11.0, 30.0):
        some = {k: [x[0] for x in v] for k, v in drawn(rng, (1, 1.5), 5).items()}
        censored = compare_censored(limited(some, limit))
        said += [bound_words.survivors(c, TORQUE) for c in censored.comparisons]
        said += [bound_words.rate(rate) for rate in censored.rates]
    for failed in ((True, False) * 6, (True,) * 5):
        levels = [10.0]
        for one in failed[:-1]:
            levels.append(levels[-1] + (-1.0 if one else 1.0))
        said += [
            side_words.staircase(e, "J") for e in estimates(Staircase(tuple(levels), failed, 1.0))
        ]
    said += [side_words.capability(crossed(rng.normal(0, 1, (2, 4, 2)).tolist()), "N.m")]
    blades = {f"B{i}": float(x) for i, x in enumerate(rng.normal(0, 1, 8))}
    said += [together.agreement(agreement(blades, blades), "hardness", "edge life")]
    said += [together.agreement(agreement(blades, {}), "hardness", "edge life")]
    for other in (blades, {**blades, "B1": 9.0, "B2": -9.0}, {}):
        found = agreement(blades, other), "hardness", "edge life"
        said += [text for pairs in (1, 10) for text in together.agreements([found] * pairs)]
    said += [words.yardsticks(response) for response in (TORQUE, HARDNESS)]
    return said


def test_every_sentence_is_whole_and_plain() -> None:
    for text in everything():
        assert text[0].isupper() or text[0].isdigit(), text
        assert text.endswith((".", "?")), text
        for bad in ("nan", "None", "inf ", "  ", "..", "e+"):
            assert bad not in text, text


def test_no_difference_is_never_said_for_cannot_tell() -> None:
    for text in everything():
        if "no difference" in text.lower():
            assert "not the same as no difference" in text or "can show no difference" in text


def test_cannot_tell_says_what_would_have_been_found() -> None:
    told = compare(study({"A": [10.0, 14.0, 8.0], "B": [11.0, 9.0, 15.0]}))
    text = words.comparison(told.comparisons[0], TORQUE)
    assert "cannot tell" in text and "one group must reach about 2.8 times the other" in text
    assert "in 80 of 100 such studies" in text


def test_few_blades_give_the_upper_limit_of_what_they_would_find() -> None:
    three = compare(study({"A": [10.0, 11.0, 9.5], "B": [12.0, 11.0, 12.5]})).comparisons[0]
    assert three.detectable is not None and three.detectable_upper is not None
    # chi-square of 2 to 4 degrees of freedom: the scatter may be 1.6 to 2.1 times that met.
    ratio = math.log(three.detectable_upper) / math.log(three.detectable)
    assert math.sqrt(4 / stats.chi2.ppf(0.2, 4)) <= ratio <= math.sqrt(2 / stats.chi2.ppf(0.2, 2))
    text = words.comparison(three, TORQUE)
    assert f"it may take up to {size(TORQUE, three.detectable_upper)}" in text


def test_better_follows_the_response() -> None:
    values = {"A": [10.0, 10.1, 9.9, 10.0], "B": [20.0, 20.2, 19.9, 20.1]}
    damage = Response("damage width", "mm", LOG, 1.2, 1.2, better=LESS)
    for response, word in ((TORQUE, "better"), (damage, "worse"), (SOFT, "higher")):
        data = study(values, response)
        told = compare(data)
        text = words.comparison(told.comparisons[0], response)
        assert text.startswith(f"B against A: difference shown, B {word}.")
        lines = of_values(told, adjust(data, told.layout, pairs_of(data)[0]))
        first = headline(response, told.verdict, lines).partition(". ")[0]
        assert first.endswith(f"difference shown, B {word} than A")


def test_parity_not_shown_says_what_follows() -> None:
    rng = np.random.default_rng(2)
    values = {name: list(60 + 2 * rng.standard_normal(4)) for name in "AB"}
    text = words.parity(parity(study(values, HARDNESS)))
    assert "not shown" in text and "may come from that start" in text


def test_a_scatter_that_comes_out_as_nought_is_none_seen_and_not_nought() -> None:
    """Two loads and two blades a load, means alike, trials apart: nothing seen above the trials."""
    values = {name: [[59.0, 61.0], [60.5, 59.5]] * 2 for name in "AB"}
    loads = {name: [f"{name}1", f"{name}1", f"{name}2", f"{name}2"] for name in "AB"}
    told = components(compare(study(values, HARDNESS, loads=loads)).layout.blades)
    text = side_words.components(told, HARDNESS)
    assert "of furnace loads none seen beyond that of trials" in text
    assert "of blades none seen beyond that of trials" in text and " 0 HRC" not in text
    assert text.endswith("(k = 1): not on record.")
    same = compare(study({name: [60.0, 60.0] for name in "AB"}, HARDNESS, u=0.3)).layout.blades
    assert "of blades none seen beyond the measurement" in side_words.components(
        components(same), HARDNESS
    )


def test_one_is_said_in_the_singular() -> None:
    one = compare(study({"A": [60.0], "B": [[60.0, 61.0]]}, HARDNESS)).layout
    assert "A: one blade, 1 trial." in " ".join(reason.text for reason in one.reasons)
    loads = {"A": ["L1"], "B": ["L2"]}
    thin = compare(study({"A": [60.0], "B": [61.0]}, HARDNESS, loads=loads)).layout
    assert "A: 1 blade of one furnace load" in " ".join(reason.text for reason in thin.reasons)
    alone = compare(study({"A": [60.0]}, HARDNESS)).layout
    assert words.counted(alone) == "1 blade, one trial."
    assert "1 blade is counted" in words.counted(compare(study({"A": [[60.0, 61.0]]})).layout)
    assert [many(n, "furnace load") for n in (0, 1, 2)] == [
        "0 furnace loads", "1 furnace load", "2 furnace loads",
    ]  # fmt: skip


def test_trials_are_averaged_only_where_a_blade_has_several() -> None:
    one, two = ({name: [[10.0] * n, [11.0] * n] for name in "AB"} for n in (1, 2))
    assert words.counted(compare(study(one)).layout) == "4 blades, one trial each."
    text = words.counted(compare(study(two)).layout)
    assert text.startswith("8 trials on 4 blades, averaged within each blade first.")


def test_near_equality_is_never_said_beside_cannot_tell() -> None:
    values = {"A": [10.0, 14.0, 8.0, 10.9], "B": [10.1, 8.0, 14.1, 10.9]}
    text = words.comparison(compare(study(values)).comparisons[0], TORQUE)
    assert "cannot tell" in text and "estimate less than 1 % more;" in text
    assert "same" not in text and "equal" not in text


def test_none_of_three_failed_names_the_rate_still_possible() -> None:
    assert bound_words.rate(failure_rate("A", 0, 3)) == (
        "A: 0 of 3 failed. The rate is at most 63% (95 % confidence, this side alone)."
    )


@pytest.mark.parametrize(
    ("effect", "text"), [(1.43, "43 % more"), (0.8, "20 % less"), (1.034, "3.4 % more"),
                         (1.98, "98 % more"), (2.5, "2.5 times as much"),
                         (3.2, "3.2 times as much")],
)  # fmt: skip
def test_ratios_are_said_as_more_or_less(effect: float, text: str) -> None:
    assert amount(TORQUE, effect) == text


@pytest.mark.parametrize(
    ("effect", "text"), [(1.3, "30 % more or 23 % less"), (1 / 1.3, "30 % more or 23 % less"),
                         (1.98, "98 % more or 49 % less"), (2.0, "a factor of 2"),
                         (5.18, "a factor of 5.18"), (1 / 5.18, "a factor of 5.18")],
)  # fmt: skip
def test_a_size_of_twice_or_more_is_a_factor_never_a_hundred_per_cent(
    effect: float, text: str
) -> None:
    assert size(TORQUE, effect) == text


def test_differences_carry_their_unit() -> None:
    assert amount(HARDNESS, -0.8) == "0.8 HRC less"
    assert size(HARDNESS, -0.8) == "0.8 HRC"
    assert span(HARDNESS, -0.5, 1.5) == "between 0.5 HRC less and 1.5 HRC more"


def test_open_ends_are_said_as_open() -> None:
    assert span(TORQUE, 0.0, math.inf) == "not bounded"
    assert span(TORQUE, 1.2, math.inf) == "at least 20 % more"
    assert span(TORQUE, 0.0, 0.9) == "at least 10 % less"
    assert span(TORQUE, 0.0, 1.2) == "at most 20 % more"
    assert span(TORQUE, 0.9, math.inf) == "at most 10 % less"
    assert span(TORQUE, 1.0, math.inf) == "not less" and span(TORQUE, 0.0, 1.0) == "not more"
    assert size(TORQUE, 1e9) == "a factor of more than 1000"


def test_a_p_is_never_printed_as_nought() -> None:
    assert [probability(p) for p in (1e-9, 0.0234, 0.5, math.nan)] == [
        "< 0.001", "0.023", "0.50", "not determined",
    ]  # fmt: skip


def test_a_figure_for_several_pairs_is_not_said_of_the_pair_that_was_shown() -> None:
    one, three = words.could_find(1.2, TORQUE), words.could_find(1.2, TORQUE, None, 3)
    assert "whichever the pair" not in one
    assert one.endswith("a smaller difference easily stays hidden.")
    assert "such studies whichever the pair; a smaller difference easily stays hidden in" in three


@pytest.mark.parametrize(
    ("found", "upper", "texts"),
    [(1.25, 1.4, ("difference of 25 % more or 20 % less would", "40 % more or 29 % less.")),
     (2.583, 4.41, ("one group must reach about 2.6 times the other", "up to about 4.4 times.")),
     (5.97, 694.0, ("reach about 6 times the other", "it may take far more.")),
     (34.8, 900.0, ("reach more than 20 times the other", "hidden."))],
)  # fmt: skip
def test_what_would_be_found_has_no_more_digits_than_few_blades_can_tell(
    found: float, upper: float, texts: tuple[str, ...]
) -> None:
    text = words.could_find(found, TORQUE, upper)
    assert "a factor of" not in text and all(part in text for part in texts), text


def test_a_correlation_of_nearly_nought_has_no_sign() -> None:
    told = Agreement(18, -0.001, -0.5, 0.5, -0.001, -0.62, 0.62)
    assert "correlation 0.00 (-0.62 to 0.62)" in together.agreement(told, "hardness", "edge life")


def test_the_two_yardsticks_are_told_apart() -> None:
    text = words.yardsticks(Response("torque", "N.m", LOG, 1.3, 1.15))
    assert "a difference of 30 % more or 23 % less matters" in text
    assert "below the margin of 15 % more or 13 % less counts as none" in text
    assert "wider" not in text
    wide = words.yardsticks(Response("hardness", "HRC", LINEAR, 1.0, 1.5))
    assert "above 1.5 HRC still leaves room for the 1 HRC that matter" in wide


def test_a_difference_shown_states_its_size_and_what_the_other_groups_said() -> None:
    values = {"A": [10.0, 10.1, 9.9, 10.2], "B": [15.0, 15.2, 14.9, 15.1], "C": [9.0, 12.0, 8.0]}
    data = study(values)
    told = compare(data)
    lines = of_values(told, adjust(data, told.layout, pairs_of(data)[0]))
    text = headline(TORQUE, told.verdict, lines)
    shown = f"B against A {lines[0].effect} ({lines[0].interval}, 95 % confidence), which"
    assert f"{shown} is at least the 25 % more that matters" in text
    assert "50 % more" in text and text.endswith("C against A: cannot tell.")


@pytest.mark.parametrize(
    ("smallest", "text", "more", "less"),
    [(1.3, "is at least", "30 % more", "23 % less"),
     (1.5, "may or may not reach", "50 % more", "33 % less"),
     (1.9, "is not as far as", "90 % more", "47 % less")],
)  # fmt: skip
def test_a_difference_shown_is_held_against_the_one_that_matters_on_its_side(
    smallest: float, text: str, more: str, less: str
) -> None:
    values = {"A": [10.0, 10.1, 9.9, 10.2], "B": [15.0, 15.2, 14.9, 15.1]}
    for larger, smaller, wanted in (("A", "B", less), ("B", "A", more)):
        torque = Response("pry torque", "N.m", LOG, smallest, 1.2)
        data = study({"A": values[smaller], "B": values[larger]}, torque)
        told = compare(data)
        lines = of_values(told, adjust(data, told.layout, pairs_of(data)[0]))
        said = headline(torque, told.verdict, lines)
        assert f"which {text} the {wanted} that matters" in said


def test_an_estimate_has_no_finer_digits_than_its_interval() -> None:
    assert amount(HARDNESS, 1.9753, 0.62) == "1.98 HRC more"
    assert amount(HARDNESS, 1.9753, 2.4) == "2 HRC more"
    assert amount(TORQUE, 1.034, 0.2) == "3 % more"
    assert amount(TORQUE, 1.034, 0.02) == "3.4 % more"
    assert amount(TORQUE, 2.513, 1.9) == "2.5 times as much"
    assert amount(TORQUE, 1.002, 0.2) == "less than 1 % more"
    assert amount(TORQUE, 0.9999, 0.02) == "less than 0.1 % less"
    assert amount(HARDNESS, 0.04, 1.2) == "less than 0.1 HRC more"
    assert [amount(what, same) for what, same in ((TORQUE, 1.0), (HARDNESS, 0.0))] == [
        "0 %",
        "0 HRC",
    ]
    assert span(HARDNESS, -0.513, 3.47) == "between 0.5 HRC less and 3.5 HRC more"


def test_several_responses_leave_only_the_primary_to_settle_the_question() -> None:
    assert words.one_settles(1, "hardness") == ""
    text = words.one_settles(5, "hardness")
    assert "5 responses" in text and "Only hardness was named beforehand" in text
