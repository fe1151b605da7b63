"""A fault at any instant of a run: never a traceback, never a run that cannot be ended."""

from pathlib import Path

import pytest

from tests.guide.faultyruns import GIVEN, Chosen, Setup, in_turn

OFTEN_S = {"drop_impact": 3.1, "pry_to_failure": 8.3, "edge_twist": 8.3, "cuts_to_dull": 2.3}


def assert_all_good(folder: Path, procedure: str, chosen: Chosen, least: int) -> None:
    came = Setup(procedure).swept(folder, chosen, briefly=True)
    assert len(came) >= least
    assert [one for one in came if not one.good] == []


def test_a_fault_while_the_mass_falls_costs_the_drop_and_never_the_run(tmp_path: Path) -> None:
    assert_all_good(tmp_path, "drop_impact", in_turn(0.08, Setup.in_trial), least=10)


@pytest.mark.parametrize("procedure", GIVEN)
def test_a_fault_anywhere_in_a_recording_costs_what_it_hit_and_never_the_run(
    tmp_path: Path, procedure: str
) -> None:
    assert_all_good(tmp_path, procedure, in_turn(OFTEN_S[procedure]), least=4)


def test_a_run_that_a_fault_stopped_goes_on_to_its_end(tmp_path: Path) -> None:
    came = Setup("cuts_to_dull").swept(tmp_path, in_turn(7.0))
    assert len(came) >= 2
    assert [one.ended for one in came] == ["finished"] * len(came)
