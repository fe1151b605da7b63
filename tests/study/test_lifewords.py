"""What is said of edge lives: one figure for what stays hidden, and none that survivors belie."""

import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from rig.measure.life import log_sd_of, still_possible
from rig.study.answers.answer import Answer
from rig.study.answers.whole import unsealed
from rig.study.statistics.verdict import CANNOT_TELL, SHOWN
from tests.study.books import begin, record, response

Lives = Mapping[str, tuple[int, int | None]]
TIED = {name: (100, 120) for name in ("A1", "A2", "A3", "B1", "B2", "B3")}


def told(path: Path, lives: Lives) -> Answer:
    """The answer of two groups with these lives; the study states a scatter of 15 %."""
    blades = len(lives) // 2
    study = record({"A": blades, "B": blades}, [response("edge_life", scatter=0.15)])
    made = begin(path / "s.logbook", study)
    for blade, (low, high) in lives.items():
        made.life(blade, low, high)
    made.unseal()
    made.book.close()
    (one,) = unsealed(made.book.path).answers
    return one


def apart(much: int, blades: int = 4) -> Lives:
    """Lives of two groups, the second `much` longer."""
    return {
        f"{group}{n}": (100 + 10 * n + much * (group == "B"), 110 + 10 * n + much * (group == "B"))
        for group in "AB"
        for n in range(1, blades + 1)
    }


def test_lives_that_scatter_have_one_figure_for_what_would_have_been_found(tmp_path: Path) -> None:
    one = told(tmp_path, apart(12))
    (line,) = one.lines
    assert one.verdict == CANNOT_TELL and line.detectable is not None
    assert re.findall(r"true difference of \d+ % more or \d+ % less would be", line.sentence)
    assert "same two probes" not in line.sentence + one.headline
    for text in (line.sentence, one.headline):
        assert f"difference of {100 * (line.detectable - 1):.0f} % more or" in text


def test_each_comparison_of_lives_states_its_estimate_and_interval(tmp_path: Path) -> None:
    one = told(tmp_path, apart(100))
    (line,) = one.lines
    assert one.verdict == SHOWN and "shown, B better." in line.sentence
    assert (
        f"Edge life: estimate {line.effect}; with 95 % confidence {line.interval}" in line.sentence
    )


@pytest.mark.parametrize("blades", [1, 3])
def test_lives_tied_at_one_probe_say_what_ratio_could_be_missed(
    tmp_path: Path, blades: int
) -> None:
    """The published rule of `still_possible` is checked in tests/measure/life."""
    lives = {name: life for name, life in TIED.items() if int(name[1]) <= blades}
    one = told(tmp_path, lives)
    (line,) = one.lines
    ratio = still_possible(blades, log_sd_of(0.15), 9, 120 / 100)
    assert one.verdict == CANNOT_TELL and "not the same as no difference" in one.headline
    for text in (line.sentence, one.headline):
        assert "went dull between the same two probes" in text
        assert f"up to {100 * (ratio - 1):.0f} % longer" in text
    assert line.high >= ratio and line.low <= 1 / ratio, "one interval, not two that disagree"
    assert any("15 % is taken" in note for note in one.notes)


def test_edges_still_sharp_set_no_limit_to_what_is_hidden(tmp_path: Path) -> None:
    one = told(tmp_path, {"A1": (120, None), "B1": (120, None)})
    assert one.verdict == CANNOT_TELL
    for text in (one.headline, one.lines[0].sentence):
        assert "longer than" not in text and "%" not in text
    assert "would be found" not in one.lines[0].sentence + one.headline


def test_one_blade_a_group_with_unlike_lives_gets_no_figure_for_equal_ones(tmp_path: Path) -> None:
    one = told(tmp_path, {"A1": (100, 120), "B1": (120, 144)})
    assert one.verdict == CANNOT_TELL and "same two probes" not in one.lines[0].sentence
