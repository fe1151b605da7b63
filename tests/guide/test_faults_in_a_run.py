"""A fault at any instant of a run: never a traceback, never a run that cannot be ended."""

from pathlib import Path

import pytest

from tests.guide.faultyruns import GIVEN, Setup, in_turn
from tests.guide.forked import Came

OFTEN_S = {"drop_impact": 3.1, "pry_to_failure": 8.3, "edge_twist": 8.3, "cuts_to_dull": 2.3}


def assert_all_good(came: list[Came], least: int) -> None:
    assert len(came) >= least
    assert [one for one in came if not one.good] == []


def test_a_fault_while_the_mass_falls_costs_the_drop_and_never_the_run(tmp_path: Path) -> None:
    assert_all_good(
        Setup("drop_impact").swept(tmp_path, in_turn(0.02, Setup.in_last_fall)), least=10
    )


@pytest.mark.parametrize("procedure", GIVEN)
def test_a_fault_anywhere_in_a_recording_costs_what_it_hit_and_never_the_run(
    tmp_path: Path, procedure: str
) -> None:
    assert_all_good(Setup(procedure).swept(tmp_path, in_turn(OFTEN_S[procedure])), least=4)
