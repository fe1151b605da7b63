"""A blade whose trials differ by more than their uncertainty has no +- that could be believed."""

from pathlib import Path

import numpy as np
import pytest

from rig.report import studyfacts, studyfigures
from rig.study.answers import repeats
from rig.study.answers.whole import Whole, unsealed
from rig.study.statistics.data import LINEAR, Observation, Response
from rig.study.statistics.units import BladeMean, blade_means
from tests.study.books import begin, record, response

HARDNESS = Response("hardness", "HRC", LINEAR, 1.0, 1.0)


def blade(*values: float, u: float = 0.3) -> BladeMean:
    """One blade with a trial for each value."""
    seen = [Observation("A", "A1", value, u=u) for value in values]
    return blade_means(seen, HARDNESS)[0]


@pytest.mark.parametrize(
    ("values", "wanted"),
    [((61.4, 64.6), True), ((60.0, 60.8), False), ((60.0,), False), ((60.0, 60.1, 62.5), True)],
)
def test_trials_further_apart_than_their_u_are_found(
    values: tuple[float, ...], wanted: bool
) -> None:
    """By hand, two trials: chi-square 3.2^2/2/0.3^2 = 57, and 0.8^2/2/0.3^2 = 3.6, against 6.63 (1
    %, 1 degree of freedom, any table); three: (0.867^2 + 0.767^2 + 1.633^2)/0.3^2 = 44.6 > 9.21.
    """
    assert repeats.differ(blade(*values)) == wanted


def test_honest_trials_are_named_in_one_case_of_a_hundred() -> None:
    rng = np.random.default_rng(5)
    drawn = rng.normal(60, 0.3, (4000, 3))
    named = sum(repeats.differ(blade(*row)) for row in drawn)
    assert named == pytest.approx(40, abs=20)  # 3.2 standard deviations either side


def test_no_u_on_record_says_nothing_of_its_trials() -> None:
    assert not repeats.differ(blade(60.0, 64.0, u=0.0))


@pytest.fixture
def whole(tmp_path: Path) -> Whole:
    """Two trials a blade, those of A1 3.2 HRC apart."""
    asked = [response("hardness", repeats=2, parity=True)]
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}, asked))
    for name, pair in {"A1": (61.4, 64.6), "A2": (60.0, 60.3), "B1": (61.0, 61.2),
                       "B2": (60.6, 60.1)}.items():  # fmt: skip
        for value in pair:
            made.trial(name, "hardness", {"hardness": (value, 0.3)})
    made.unseal()
    made.book.close()
    return unsealed(made.book.path)


def test_the_mean_of_such_a_blade_is_shown_with_its_trials_and_without_plus_minus(
    whole: Whole,
) -> None:
    (one,) = whole.answers
    shown = {row["blade"]: row["value"] for row in studyfacts.blades(one)}
    assert shown["A1"] == "63 HRC (its trials 61.4 to 64.6: further apart than their ±)"
    assert shown["A2"] == "60.15 ± 0.60 HRC"
    (note,) = [text for text in one.notes if "differ by more than their ±" in text]
    assert "on A1 (by up to 3.2 HRC)" in note
    picture = studyfigures.picture(one)
    assert picture is not None and "A1 63 (its trials 61.4 to 64.6" in picture[1]
