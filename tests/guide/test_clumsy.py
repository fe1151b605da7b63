"""A clumsy person at the screen: no blade wasted, no wrong value, no session without an end."""

from pathlib import Path

import pytest

from tests.guide.clumsy import Session

SEEDS = range(100, 120)  # `make bench` takes a thousand


@pytest.mark.parametrize("seed", SEEDS)
def test_a_clumsy_session_wastes_no_blade_counts_nothing_wrong_and_ends(
    tmp_path: Path, seed: int
) -> None:
    session = Session(seed, tmp_path).run()
    assert session.found == [], (session.procedure, session.lives, session.end)
