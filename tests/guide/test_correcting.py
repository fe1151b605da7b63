"""An answer that was mistyped: asked for once more, or changed, and the first one kept."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from rig.guide import script as scripts
from rig.guide.parameters import read_all
from rig.guide.recompute import recompute
from rig.guide.runner import Runner
from rig.guide.steps import Ask, Do
from rig.guide.words import SaidBack
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.logbook.journal import CORRECTED, STEP
from rig.report import page
from tests.cli.inside import done, refused, told
from tests.guide.jigs import SECTION, TIPS, JigRig, _Looking

CHECK = ["", "block 1", "60", "", "", *["60"] * 5]
PIECE = ["3 mm", "", "", ""]
BLADE = ["61", "60.5", "60.5", "60", "61"]
AFTER = ["", "", *["60"] * 5]


def hardness(folder: Path, *typed: str, more: Sequence[str] = ()) -> Path:
    """A run of the readings with these lines typed; its logbook."""
    book = folder / "b.logbook"
    lines = "\n".join(typed) + "\n"
    done("run", "hardness", book, "specimen=K1", "--virtual", *more, typed=lines)
    return book


def bodies(path: Path, kind: str) -> list[Mapping[str, Any]]:
    """Rows in force of a kind."""
    with Logbook.open(path, writable=False) as book:
        return [row.body for row in book.journal(kind=kind)]


def blade(path: Path) -> list[float]:
    """The readings that were measured with."""
    (measured,) = [one for one in bodies(path, STEP) if one["step"]["step"] == "Measure"]
    return list(measured["step"]["settings"]["piece"]["readings_hrc"])


def test_a_reading_far_from_its_fellows_is_asked_for_once_more_before_it_counts(
    tmp_path: Path,
) -> None:
    slip = [*BLADE[:2], "50.5", "60.5", *BLADE[3:]]
    path = hardness(tmp_path, *CHECK, *PIECE, *slip, *AFTER)
    assert blade(path) == [61, 60.5, 60.5, 60, 61]
    (kept,) = bodies(path, "asked_twice")
    assert kept == {"key": "blade", "first": ["50.5 HRC"], "counts": "60.5 HRC"}
    html = page.write(path, None, None).read_text(encoding="utf-8")
    assert "50.5 HRC was typed and asked for once more; 60.5 HRC counts" in html


def test_a_reading_that_comes_again_counts_however_far_it_is(tmp_path: Path) -> None:
    path = hardness(tmp_path, *CHECK, *PIECE, "61", "52", "52", "60.5", "60", "61", *AFTER)
    assert blade(path) == [61, 52, 60.5, 60, 61], "nothing is left out because it looks wrong"


def test_a_first_reading_that_is_far_is_looked_at_when_its_fellows_are_there(
    tmp_path: Path,
) -> None:
    typed = ["50.5", "61", "61", "60.5", "60", "61", "60.5"]
    path = hardness(tmp_path, *CHECK, *PIECE, *typed, *AFTER)
    assert blade(path) == [60.5, 61, 60.5, 60, 61]


def test_back_changes_the_last_answer_with_a_reason_and_keeps_the_first(tmp_path: Path) -> None:
    typed = [*BLADE[:3], "back", "60", "the light was poor", *BLADE[3:]]
    path = hardness(tmp_path, *CHECK, *PIECE, *typed, *AFTER)
    assert blade(path) == [61, 60.5, 60, 60, 61]
    (changed,) = bodies(path, CORRECTED)
    assert (changed["first"], changed["now"]) == ("60.5", "60")
    assert changed["reason"] == "the light was poor"
    html = page.write(path, None, None).read_text(encoding="utf-8")
    assert "an answer was changed from 60.5 to 60; the reason given: the light was poor" in html
    assert audit(path) == [] and all(one.same for one in recompute(path))


def test_back_twice_changes_the_answer_before_and_asks_nothing_again_that_stays(
    tmp_path: Path,
) -> None:
    typed = ["2 cm", "2 cm", "flat", "back", "back", "4 mm", "", "", ""]
    path = hardness(tmp_path, *CHECK, *typed, *BLADE, *AFTER)
    (measured,) = [one for one in bodies(path, STEP) if one["step"]["step"] == "Measure"]
    assert measured["step"]["settings"]["piece"]["thickness_m"] == pytest.approx(0.004)
    steps = [one["index"] for one in bodies(path, STEP)]
    assert steps == list(range(len(steps))), "in force stands one row for each step"


def test_an_answer_to_which_others_follow_leads_to_these(tmp_path: Path) -> None:
    typed = ["3 mm", "flat", "back", "round", "", "12 mm", "", ""]
    path = hardness(tmp_path, *CHECK, *typed, *BLADE, *AFTER)
    (measured,) = [one for one in bodies(path, STEP) if one["step"]["step"] == "Measure"]
    assert measured["step"]["settings"]["piece"]["diameter_m"] == pytest.approx(0.012)


def test_a_run_that_ends_just_after_a_change_goes_on_with_it(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    first = [*CHECK, "30 mm", "30 mm", "back", "3 mm", "mistyped"]
    refused("run", "hardness", book, "specimen=K1", "--virtual", typed="\n".join(first) + "\n")
    rest = ["", "", "", *BLADE, *AFTER]
    typed = "\n".join(rest) + "\n"
    assert told("run", "hardness", book, "--resume", "--virtual", typed=typed)["valid"]
    (measured,) = [one for one in bodies(book, STEP) if one["step"]["step"] == "Measure"]
    assert measured["step"]["settings"]["piece"]["thickness_m"] == pytest.approx(0.003)


def test_a_change_after_a_reading_and_a_measurement_leaves_all_results_accounted_for(
    tmp_path: Path,
) -> None:
    rig = JigRig(TIPS["snap"])
    path, script = tmp_path / "j.logbook", scripts.load("pry_to_failure")
    operator = _Twice(rig.person, SECTION, None)
    with Logbook.create(path, title="j") as book:
        params = read_all(script.parameters, {"specimen": "K3"})
        Runner(book, rig.bench, rig.device, operator).start(script, params)
    assert len(bodies(path, CORRECTED)) == 1
    compared = recompute(path)
    assert [one for one in compared if not one.same] == []
    ids = [one.result_id for one in compared]
    with Logbook.open(path, writable=False) as book:
        assert sorted(set(ids)) == [one.result_id for one in book.results()]
    assert len(ids) == len(set(ids)), "each result is compared once"


def test_a_result_taken_back_is_superseded_though_the_run_is_broken_off_in_between(
    tmp_path: Path,
) -> None:
    rig = JigRig(TIPS["snap"])
    path, script = tmp_path / "j.logbook", scripts.load("pry_to_failure")
    operator = _Twice(rig.person, SECTION, None)
    operator.stops = True
    with Logbook.create(path, title="j") as book:
        params = read_all(script.parameters, {"specimen": "K3"})
        runner = Runner(book, rig.bench, rig.device, operator)
        with pytest.raises(KeyboardInterrupt):
            runner.start(script, params)
        runner.resume(1, script)
    with Logbook.open(path, writable=False) as book:
        first, second = [r for r in book.results() if r.measurand == "no_load_sweep"]
    assert (second.supersedes, first.superseded_by) == (first.result_id, second.result_id)
    assert all(one.same for one in recompute(path))


def test_what_a_pull_has_used_is_not_changed_any_more(tmp_path: Path) -> None:
    rig = JigRig(TIPS["snap"])
    operator = _Twice(rig.person, SECTION, None)
    operator.at = "Look at the tip"
    with Logbook.create(tmp_path / "j.logbook", title="j") as book:
        script = scripts.load("pry_to_failure")
        params = read_all(script.parameters, {"specimen": "K3"})
        Runner(book, rig.bench, rig.device, operator).start(script, params)
    assert bodies(tmp_path / "j.logbook", CORRECTED) == []
    assert any("No answer to change here" in line for line in operator.log)


class _Twice(_Looking):
    """Says back once, at the prompt that holds `at`."""

    _left = 1
    at = "slid onto the tip"
    stops = False  # the run, as soon as the answer is changed

    def confirm(self, step: Do, hazards: Sequence[str], ready: str = "") -> Callable[[], bool]:
        if self.at in step.text and self._left:
            self._left = 0
            raise SaidBack
        if self.stops and not self._left:
            self.stops = False
            raise KeyboardInterrupt
        return super().confirm(step, hazards, ready)

    def ask(self, step: Ask) -> Callable[[], str | None]:
        if self.at in step.text and self._left:
            self._left = 0
            raise SaidBack
        return (lambda: "0.02 mm") if step.text.startswith("You answered ") else super().ask(step)


def test_back_with_nothing_to_change_says_so_and_asks_the_same_again(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    typed = "\n".join(["back", *CHECK, *PIECE, *BLADE, *AFTER]) + "\n"
    text = done("run", "hardness", book, "specimen=K1", "--virtual", typed=typed)
    assert "No answer to change here" in text and text.count("> Tape the edge") == 2


def test_the_block_is_read_once_a_session_and_anew_when_asked_or_when_it_was_off(
    tmp_path: Path,
) -> None:
    whole = [*CHECK, *PIECE, *BLADE, *AFTER]
    path = hardness(tmp_path, *whole)
    hardness(tmp_path, "", *PIECE, *BLADE, "", "")
    values = [one["details"]["hardness_hrc"] for one in bodies(path, "verdict")]
    assert values[0] == values[1]
    hardness(tmp_path, *whole, more=["block_anew=yes"])
    other = ["", "60", "", "", *["63"] * 5, *PIECE, *BLADE, "", "", *["63", "63"] * 5]
    hardness(tmp_path, *other, more=["tester=second", "check_block=B7"])
    checks = bodies(path, "check_block")
    assert [one["in_order"] for one in checks] == [True, True, False]
    text = done(
        "run", "hardness", path, "specimen=K2", "--virtual", "tester=second", "check_block=B7",
        typed="\n".join(other) + "\n",
    )  # fmt: skip
    assert "What does the block's certificate say" in text, "one that was off does not hold"
