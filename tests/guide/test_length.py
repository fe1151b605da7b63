"""How much a person reads and types: prompts, keys and words of a run, by a reader of the screen.

Counted on the same virtual rig before the words were shortened: one drop 10 prompts and 848 words,
the first of a session 21 and 2314, one pry (its cell checked in the session) 15 and 824, one cuts
to dull of 8 probes 54 and 3272.
"""

from pathlib import Path

import pytest

from tests.guide.clumsy import Session

MOST = {  # prompts, words; of the first run of a session
    "drop_impact": (20, 1400),
    "pry_to_failure": (14, 680),
    "edge_twist": (13, 620),
    "cuts_to_dull": (21, 1150),
    "hardness": (27, 450),
}


@pytest.mark.parametrize("procedure", MOST)
def test_a_run_asks_and_says_no_more_than_it_must(tmp_path: Path, procedure: str) -> None:
    session = Session(3, tmp_path, care=1.0, procedure=procedure).run()
    screen = session.person.screen
    prompts, words = MOST[procedure]
    assert screen.prompts <= prompts and screen.words <= words, (screen.prompts, screen.words)


def test_a_falling_mass_is_told_whole_once_in_a_run(tmp_path: Path) -> None:
    session = Session(3, tmp_path, care=1.0, procedure="drop_impact").run()
    assert session.person.screen.getvalue().count("! Falling mass: the latch can fail") == 1
