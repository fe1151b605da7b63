"""Headlines and sentences agree with their figures, whatever a study met."""

from pathlib import Path

import numpy as np
import pytest

from rig.report.studyfacts import blades
from tests.study.drawnstudies import answered
from tests.study.reader import contradictions, finer_than_u

STUDIES = 6


def test_what_studies_drawn_at_random_say_agrees_with_their_figures(tmp_path: Path) -> None:
    """`make bench` reads 500 of them."""
    rng, said = np.random.default_rng(20), 0
    for i in range(STUDIES):
        for one in answered(rng, tmp_path / f"{i}.logbook"):
            told = one.to_dict()
            assert not contradictions(told, told["comparisons"])
            assert not finer_than_u(row["value"] for row in blades(one))
            said += len(told["comparisons"])
    assert said > 3 * STUDIES


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"verdict": "difference shown", "p": 0.2}, "p is 0.2"),
        ({"low": 0.9, "high": 1.6}, "shown beside an interval that includes none"),
        ({"estimate": 0.6}, "said better, is worse"),
        ({"low": 1.2, "high": 1.9}, "is 1.9"),
        ({"detectable": 1.6}, "is not 1.6"),
        ({"verdict": "cannot tell"}, "its sentence says another verdict"),
    ],
)
def test_the_reader_sees_what_does_not_agree(change: dict[str, object], fault: str) -> None:
    line = {
        "group": "B", "against": "A", "verdict": "difference shown", "estimate": 1.5, "low": 1.4,
        "high": 1.6, "p": 0.01, "detectable": 1.25,
        "sentence": "B against A: difference shown, B better. Pry torque: estimate 50 % more; "
        "with 95 % confidence between 40 % more and 60 % more. At this scatter a true difference "
        "of 25 % more or 20 % less would be found in 80 of 100 such studies; a smaller one stays.",
    }  # fmt: skip
    answer = {
        "response": "pry_torque", "verdict": "difference shown", "smallest": 1.3, "margin": 1.2,
        "notes": [],
        "headline": "Pry torque: difference shown, B better than A. B against A 50 % more "
        "(between 40 % more and "
        "60 % more, 95 % confidence), which is at least the 30 % more that matters.",
    }  # fmt: skip
    assert not contradictions(answer, [line])
    assert any(fault in told for told in contradictions(answer, [{**line, **change}]))


def test_the_reader_sees_digits_that_u_does_not_bear() -> None:
    assert not finer_than_u(
        ["10.00 ± 0.10 N·m", "more than 14.0 ± 1.2 N·m", "400 ± 25 MPa", "0 mm"]
    )
    for bad in ("10.001 ± 0.10 N·m", "10 ± 0.10 N·m", "10.123 ± 0.123 N·m"):
        assert finer_than_u([bad])
