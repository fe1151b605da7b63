"""What a statistician stumbled over in the answers: each sentence beside what it stands on."""

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest

from rig.study.answers.answer import Answer
from rig.study.answers.planning import as_entered, plans
from rig.study.answers.whole import unsealed
from rig.study.statistics.welch import power
from tests.study.books import StudyBook, begin, record, response

PRY = response("pry_torque", smallest=1.3, margin=1.3)
LIFE = response("edge_life", smallest=1.3, margin=1.3)


def pried(values: Mapping[str, float]) -> Callable[[StudyBook], None]:
    """Blade -> torque; below 0 it survived that much."""

    def fill(made: StudyBook) -> None:
        for blade, torque in values.items():
            made.pry(blade, abs(torque), censored="right" if torque < 0 else "")

    return fill


def told(
    folder: Path, fill: Callable[[StudyBook], None], asked: object = PRY,
    loads: Mapping[str, str] | None = None, **groups: int,
) -> Answer:  # fmt: skip
    """The one answer of a study of these groups."""
    made = begin(folder / "s.logbook", record(groups, [asked], "A", loads))  # type: ignore[list-item]
    with made.book.transaction():
        fill(made)
    made.unseal()
    made.book.close()
    (answer,) = unsealed(folder / "s.logbook").answers
    return answer


def test_of_a_group_that_survived_whole_nothing_is_said_to_be_found(tmp_path: Path) -> None:
    values = {"A1": 9, "A2": 9.5, "A3": 10, "B1": -14, "B2": -14, "B3": -14}
    one = told(tmp_path, pried(values), A=3, B=3)
    assert one.verdict == "cannot tell"
    assert "would be found" not in one.headline + one.lines[0].sentence
    assert "All values of B are bounds" in one.headline
    assert "takes 4 blades or more in each group" in one.lines[0].sentence, "and why it cannot tell"


def test_what_few_failures_would_find_is_a_true_difference_and_rough(tmp_path: Path) -> None:
    values = {"A1": 9, "A2": 10, "A3": -14, "B1": 9.5, "B2": 11, "B3": -14, "B4": -14}
    one = told(tmp_path, pried(values), A=3, B=4)
    assert "a true difference of 71 % less would be found in 80 of 100" in one.headline
    assert "So few failures tell the scatter only roughly: it may take far more." in one.headline


def test_a_far_end_that_no_life_reached_is_said_to_rest_on_the_shape(tmp_path: Path) -> None:
    lives = {"A1": (0, 100), "A2": (0, 100), "A3": (100, 130), "A4": (130, 170),
             "B1": (400, None), "B2": (400, None), "B3": (300, 400), "B4": (400, None)}  # fmt: skip

    def fill(made: StudyBook) -> None:
        for blade, (passed, failed) in lives.items():
            made.life(blade, passed, failed)

    one = told(tmp_path, fill, LIFE, A=4, B=4)
    assert "estimate and far end rest on the assumed (log-normal) shape" in one.lines[0].sentence
    assert (
        one.headline.index("at least")
        < one.headline.index("; estimate ")
        < (one.headline.index("(between"))
    ), "the bracket is the estimate's"


def test_blades_without_partner_do_not_count_as_what_the_answer_rests_on(tmp_path: Path) -> None:
    values = {"A1": 9, "A2": 10, "A3": 11, "B1": 12, "B2": 13, "B3": 14.5}
    loads = {"A1": "L1", "B1": "L1", "A2": "L2", "B2": "L2", "A3": "L3", "B3": "L4"}
    one = told(tmp_path, pried(values), loads=loads, A=3, B=3)
    apart = np.std([np.log(12 / 9), np.log(13 / 10)], ddof=1)
    said = "It rests on 2 differences within furnace loads, which scatter by 1.8 %"
    assert said in one.lines[0].sentence and round(100 * apart, 1) == 1.8


def test_two_blades_against_many_are_said_to_make_the_interval_wide(tmp_path: Path) -> None:
    values = {f"A{i}": 9 + 0.3 * i for i in range(1, 9)} | {"B1": 12, "B2": 14}
    line = told(tmp_path, pried(values), A=8, B=2).lines[0]
    assert "Two blades of B tell next to nothing of its scatter" in line.sentence


def test_a_study_of_unequal_groups_is_planned_as_it_is(tmp_path: Path) -> None:
    study = record({"A": 8, "B": 2}, [PRY])
    (planned,) = plans(study)
    row = next(row for row in planned.plan.rows if row.units == 2)
    entered = as_entered(planned, study)
    assert entered is not None and entered.sizes == {"A": 8, "B": 2}
    assert entered.detectable != row.detectable
    se = planned.plan.scatter * np.sqrt(1 / 8 + 1 / 2)
    wanted = power(np.log(1.3) / se, 0.05, 7, 1, 0.2)
    assert entered.chance == pytest.approx(wanted)
    assert as_entered(plans(record({"A": 4, "B": 4}, [PRY]))[0], record({"A": 4, "B": 4})) is None


def test_trials_that_were_not_made_stand_in_the_answer_itself(tmp_path: Path) -> None:
    values = {"A1": 9, "A2": 10, "A3": 11, "B1": 12, "B2": 13}
    one = told(tmp_path, pried(values), A=3, B=3)
    assert "1 of its 6 planned trials is not made, and the key is open" in one.headline


def test_what_is_ruled_out_is_not_said_to_be_found(tmp_path: Path) -> None:
    values = {f"{group}{i}": 10 + 0.05 * i for group in "AB" for i in range(1, 7)}
    one = told(tmp_path, pried(values), A=6, B=6)
    assert one.verdict == "difference above the margin ruled out"
    assert "would be found" not in one.headline + one.lines[0].sentence


def test_what_is_shown_by_luck_is_said_to_be_so(tmp_path: Path) -> None:
    values = {"A1": 9.8, "A2": 10.4, "A3": 9.5, "A4": 10.2,
              "B1": 11, "B2": 10.6, "B3": 12, "B4": 11.4}  # fmt: skip
    one = told(tmp_path, pried(values), A=4, B=4)
    assert one.verdict == "difference shown"
    (line,) = one.lines
    assert line.detectable is not None
    assert line.estimate < line.detectable
    assert "may be luck" in line.found and "may be luck" in one.headline


def test_one_blade_a_group_is_said_once_for_each(tmp_path: Path) -> None:
    one = told(tmp_path, pried({"A1": 9, "B1": 12}), A=1, B=1)
    said = " ".join([one.headline, *(line.sentence for line in one.lines), *one.notes])
    assert said.count("B: one blade") == 1 and said.count("A: one blade") == 1
    assert "units" not in said


def test_limits_of_a_rate_say_whether_they_are_of_one_side_or_both(tmp_path: Path) -> None:
    values = {"A1": 9, "A2": 10, "A3": -14, "A4": 9.4, "B1": -14, "B2": -14, "B3": -14, "B4": -14}
    notes = " ".join(told(tmp_path, pried(values), A=4, B=4).notes)
    assert "B: 0 of 4 failed. The rate is at most 53% (95 % confidence, this side alone)." in notes
    assert "A: 3 of 4 failed. The rate is 19% to 99% (95 % confidence, both sides)." in notes
