"""A run killed at any instant is resumed and has lost nothing."""

from pathlib import Path

from tests.guide.killable import killed_runs


def test_kills_at_random_instants_lose_nothing_the_procedure_has_seen(tmp_path: Path) -> None:
    tally = killed_runs(6, tmp_path, seed=3)
    assert tally.kills == 6 and tally.seen > 0
    assert (tally.lost, tally.unfinished, tally.unsound) == (0, 0, 0)
