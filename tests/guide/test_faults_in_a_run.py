"""A fault at any instant of a run: never a traceback, never a run that cannot be ended."""

from collections.abc import Callable, Iterator
from itertools import cycle
from pathlib import Path

import pytest

from tests.guide.faultyruns import GIVEN, Setup
from tests.guide.forked import STAND_IN, Came

EMPTY_DROPS = 5  # before the one on the blade
OFTEN_S = {"drop_impact": 3.1, "pry_to_failure": 8.3, "edge_twist": 8.3, "cuts_to_dull": 2.3}


def spread(every_s: float) -> Callable[[Setup, float], Iterator[str]]:
    """Each fault in its turn, so often while anything is being recorded."""
    last, names = [0.0], cycle(STAND_IN)

    def chosen(_: Setup, at_s: float) -> Iterator[str]:
        if at_s - last[0] >= every_s:
            last[0] = at_s
            yield next(names)

    return chosen


def in_flight(every_s: float) -> Callable[[Setup, float], Iterator[str]]:
    """Each fault in its turn, in the last drop, from when the coils draw current."""
    drops, last, names = [0], [0.0], cycle(STAND_IN)

    def chosen(setup: Setup, at_s: float) -> Iterator[str]:
        since = setup.energised_s()
        if since is None:
            return
        drops[0] += since == 0.0
        if drops[0] > EMPTY_DROPS and at_s - last[0] >= every_s:
            last[0] = at_s
            yield next(names)

    return chosen


def assert_all_good(came: list[Came], least: int) -> None:
    assert len(came) >= least
    assert [one for one in came if not one.good] == []


def test_a_fault_while_the_mass_falls_costs_the_drop_and_never_the_run(tmp_path: Path) -> None:
    assert_all_good(Setup("drop_impact").swept(tmp_path, in_flight(0.02)), least=10)


@pytest.mark.parametrize("procedure", GIVEN)
def test_a_fault_anywhere_in_a_recording_costs_what_it_hit_and_never_the_run(
    tmp_path: Path, procedure: str
) -> None:
    assert_all_good(Setup(procedure).swept(tmp_path, spread(OFTEN_S[procedure])), least=4)
