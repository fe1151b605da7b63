"""A clumsy person at the screen: no blade wasted, no wrong value, no session without an end."""

from pathlib import Path

import pytest

from rig.guide.following import Follow
from tests.guide.clumsy import Session
from tests.guide.test_early import Eager

SEEDS = range(100, 120)  # `make bench` takes a thousand


@pytest.mark.parametrize("seed", SEEDS)
def test_a_clumsy_session_wastes_no_blade_counts_nothing_wrong_and_ends(
    tmp_path: Path, seed: int
) -> None:
    session = Session(seed, tmp_path).run()
    assert session.found == [], (session.procedure, session.lives, session.end)


def test_a_guide_that_records_only_after_enter_is_found_to_waste_the_tip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So the check above can fail: the motion before Enter is not looked at here."""
    monkeypatch.setattr(Follow, "begun", lambda _: False)
    session = Session(5, tmp_path, procedure="pry_to_failure", who=Eager, cut=False).run()
    assert any("wasted" in one for one in session.found), (session.found, session.end)
