"""Which blade of a sealed study a run takes."""

from pathlib import Path

import pytest

from rig.errors import RigError
from rig.guide import script
from rig.logbook import Logbook
from rig.study.register import kept
from rig.study.register.turn import turn
from tests.study.books import StudyBook, begin, record


@pytest.fixture
def made(tmp_path: Path) -> StudyBook:
    """Four blades, pried and read for hardness; none made yet."""
    return begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}, ["hardness", "pry_torque"]))


def test_left_out_the_specimen_is_the_plans_next(made: StudyBook) -> None:
    first = made.order.trials[0]
    taken = turn(made.book, first.procedure, "")
    assert taken is not None and taken.specimen == first.code and taken.in_turn


def test_a_run_takes_specimen_and_block_from_the_plan(made: StudyBook) -> None:
    first = made.order.trials[0]
    taken = turn(made.book, first.procedure, "")
    assert taken is not None
    told = {"specimen": first.code, "block": first.block}
    cuts, hard = script.load("cuts_to_dull"), script.load("hardness")
    assert taken.settings({"specimen": "", "block": ""}, cuts) == told
    assert taken.settings({"specimen": ""}, cuts) == {"specimen": first.code}
    assert "block" not in taken.settings({"specimen": "", "block": "sheet 9"}, cuts)
    assert "block" not in taken.settings({"specimen": "", "block": ""}, hard), "another block"


def test_a_code_may_be_typed_small(made: StudyBook) -> None:
    first = made.order.trials[0]
    taken = turn(made.book, first.procedure, f" {first.code.lower()}")
    assert taken is not None and taken.specimen == first.code and taken.in_turn


@pytest.mark.parametrize("name", ["A1", "ZZ9", "a1", "-"])
def test_a_blades_own_name_and_an_unknown_code_are_refused(made: StudyBook, name: str) -> None:
    with pytest.raises(RigError, match="no blade of this study has the code"):
        turn(made.book, "pry_to_failure", name)


def test_a_destructive_test_out_of_turn_is_seen(made: StudyBook) -> None:
    first = made.order.trials[0]
    taken = turn(made.book, "pry_to_failure", first.code)
    assert taken is not None and not taken.in_turn
    assert taken.expected() == f"the plan has hardness on {first.code} next"


def test_a_trial_that_did_not_count_may_be_made_again(made: StudyBook) -> None:
    blade = {code: name for name, code in made.code.items()}[made.order.trials[1].code]
    made.trial(blade, "hardness", {"hardness": (60.0, 0.2)}, reasons=["too near"])
    taken = turn(made.book, "hardness", made.code[blade])
    assert taken is not None and taken.in_turn


def test_a_blade_whose_trial_counts_is_not_tested_again_in_silence(made: StudyBook) -> None:
    blade = {code: name for name, code in made.code.items()}[made.order.trials[1].code]
    made.trial(blade, "hardness", {"hardness": (60.0, 0.2)})
    taken = turn(made.book, "hardness", made.code[blade])
    assert taken is not None and not taken.in_turn


def test_a_trial_is_of_one_blade(made: StudyBook) -> None:
    both = ", ".join(made.code.values())
    with pytest.raises(RigError, match="4 blades at once"):
        turn(made.book, "hardness", both)


def test_when_all_trials_of_a_procedure_are_made_the_blade_must_be_named(made: StudyBook) -> None:
    for blade in made.code:
        made.trial(blade, "hardness", {"hardness": (60.0, 0.2)})
    with pytest.raises(RigError, match="all planned trials of hardness are made"):
        turn(made.book, "hardness", "")


def test_a_procedure_that_the_study_does_not_ask_for_is_free(made: StudyBook) -> None:
    assert turn(made.book, "drop_impact", "A1") is None


def test_a_logbook_without_a_dealt_study_is_free(tmp_path: Path) -> None:
    with Logbook.create(tmp_path / "free.logbook", title="free") as book:
        assert turn(book, "hardness", "A1") is None
        kept.enter(book, record({"A": 2, "B": 2}, ["hardness"]))
        assert turn(book, "hardness", "A1") is None


def test_practice_takes_no_place_of_a_measured_trial(made: StudyBook) -> None:
    first, second = made.order.trials[:2]
    blade = {code: name for name, code in made.code.items()}
    made.trial(blade[first.code], "hardness", {"hardness": (60.0, 0.2)}, run={"device": "virtual"})
    made.trial(blade[second.code], "hardness", {"hardness": (60.0, 0.2)})
    assert kept.left(made.book, kept.require(made.book))[0] == first
