"""The probe on its own: readings typed in, or graded at marked places."""

from statistics import median

import pytest

from rig.errors import RigError
from tests.guide.edgeplay import Play

TYPED = ["1.25 N", "0 N", "1.31 N", "0.127 kgf", "1.18 N", "1.22 N", "1.29 N", "1.20 N"]
TWICE = ["0.5 N", "1 N", "2 N", "2 N", "0.4 N", "0.4 N", "1.9 N", "1.9 N", "1 N", "0.6 N"]
"""What is far from its fellows is asked for once more, and counts when it is the same again."""
NEWTON = [1.25, 1.31, 0.127 * 9.80665, 1.18, 1.22, 1.29, 1.20]


def test_the_median_of_typed_readings_is_told_with_its_uncertainty() -> None:
    play = Play({"severing": list(TYPED)})
    told = play.run("sharpness")
    assert told["valid"] and told["severing_force_n"] == pytest.approx(median(NEWTON))
    assert play.said("0 N cannot be")
    (step,) = [s for s in play.steps if getattr(s, "measurand", "") == "sharpness"]
    (last,) = [s.text for s in play.steps if "severing force" in s.text and "±" in s.text]
    value, expanded = last.split("severing force ")[1].split(" N")[0].split(" ± ")
    assert len(value.partition(".")[2]) == len(expanded.partition(".")[2]), "the same decimals"
    assert len(expanded.replace(".", "").lstrip("0")) == 2, "two digits of the uncertainty"
    assert step.trial == told["trial"] == "K3 sharpness"  # type: ignore[attr-defined]


def test_grades_are_counted_by_the_wording_fixed_before_the_start() -> None:
    play = Play({"paper_3": ["pass repeat pass"]})
    told = play.run("sharpness", probe="shave,paper", paper_means="parts a till receipt by a push")
    assert told["grades"] == {"shave": ["pass"] * 3, "paper": ["pass", "repeat", "pass"]}
    assert told["valid"] and told["severing_force_n"] is None
    assert all("parts a till receipt by a push" in text for text in play.asked("paper_3"))
    assert play.said("paper: 2 of 3 places pass")


def test_readings_that_scatter_widely_do_not_count() -> None:
    play = Play({"severing": TWICE})
    told = play.run("sharpness")
    assert not told["valid"] and "the readings scatter" in told["reasons"][0]


def test_a_probe_that_is_none_is_refused_at_once() -> None:
    with pytest.raises(RigError, match="probe: 'tongue' is no probe"):
        Play().run("sharpness", probe="tongue")
