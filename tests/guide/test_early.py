"""What is done before it is asked for is recorded and told, and a run broken off loses nothing."""

from pathlib import Path
from typing import Any

import pytest

from rig.errors import RigError
from rig.guide.following import EARLY_RAD
from rig.guide.leave import HANGS, PULLED, SEATED, make_safe
from rig.guide.readings import Reader
from rig.guide.verdict import verdicts
from rig.logbook import Logbook
from rig.logbook.journal import STEP
from rig.report import page
from tests.guide.clumsy import Clumsy, Session
from tests.guide.jigs import TIPS, JigRig


class Eager(Clumsy):
    """Begins whatever it reads of, and makes no other mistake."""

    def slips(self, share: float) -> bool:
        """Only where a pull, a turn or a stroke is told of."""
        return share == 0.3


class Kept(Session):
    """A session whose logbook is looked at."""

    verdicts: list[dict[str, Any]]
    records: list[dict[str, Any]]

    def _judge(self, book: Logbook) -> None:
        super()._judge(book)
        self.verdicts = [verdict.summary() for _, verdict in verdicts(book)]
        steps = [row.body for row in book.journal(kind=STEP)]
        self.records = [
            {**one["step"], **one["outcome"]} for one in steps if one["step"]["step"] == "Record"
        ]
        self.html = page.write(book.path, None, None).read_text(encoding="utf-8")


@pytest.mark.parametrize("procedure", ["pry_to_failure", "edge_twist"])
def test_a_motion_begun_before_its_word_is_recorded_told_and_counts(
    tmp_path: Path, procedure: str
) -> None:
    session = Kept(5, tmp_path, procedure=procedure, who=Eager, cut=False)
    session.run()
    assert session.found == [] and session.end == "finished" and session.person.early == 2
    assert all(record["early"] for record in session.records)
    said = session.person.screen.getvalue()
    assert said.count(">> Begun before it was asked for") == 2
    assert ">> PULL NOW" not in said and ">> TURN NOW" not in said
    assert session.verdicts[0]["valid"], session.verdicts[0]["reasons"]
    assert "begun before it was called for; recorded from its beginning" in session.html


def test_strokes_drawn_before_their_word_count(tmp_path: Path) -> None:
    session = Kept(5, tmp_path, procedure="cuts_to_dull", who=Eager, cut=False)
    session.run()
    assert session.found == [] and session.end == "finished" and session.person.early >= 1
    assert "Begun before it was asked for. It counts" in session.person.screen.getvalue()


def test_who_waits_for_the_word_is_not_called_early(tmp_path: Path) -> None:
    session = Kept(5, tmp_path, care=1.0, procedure="pry_to_failure", cut=False)
    session.run()
    said = session.person.screen.getvalue()
    assert not any(record["early"] for record in session.records)
    assert said.index("and not before, pull the arm") < said.index(">> PULL NOW: to the right")
    assert EARLY_RAD > 0


class Stop(RuntimeError):
    """The program dies."""


def die(rig: JigRig, text: str) -> None:
    """As soon as the pull is called for: nothing of it reaches the disk."""
    if text.startswith("PULL NOW: to the"):
        raise Stop


@pytest.mark.parametrize(("moved", "valid"), [("yes", False), ("unsure", False), ("no", True)])
def test_a_pull_called_for_when_the_program_died_is_asked_about_and_never_made_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moved: str, valid: bool
) -> None:
    monkeypatch.setattr(Reader, "_keep", lambda *_: None)
    rig = JigRig(TIPS["snap"], hook=die)
    with pytest.raises(Stop):
        rig.run(tmp_path, "pry_to_failure")
    rig.hook = None
    told = resumed(rig, tmp_path, {"moved": [moved]})
    assert [trial["valid"] for trial in told["trials"]] == [valid]
    assert len(rig.jig.truth) == (1 if valid else 0)


def resumed(rig: JigRig, folder: Path, answers: dict[str, list[str]]) -> Any:
    """The run goes on with another person at the same rig."""
    from rig.guide import script as scripts
    from rig.guide.runner import Runner
    from tests.guide.jigs import SECTION, _Looking

    operator = _Looking(rig.person, {**SECTION, **answers}, None)
    with Logbook.open(folder / "jig.logbook", writable=True) as book:
        run = book.unfinished_runs()[0]
        runner = Runner(book, rig.bench, rig.device, operator)
        return runner.resume(run.run_id, scripts.load("pry_to_failure"))


def test_the_eye_that_contradicts_the_record_is_asked_again_on_the_spot(tmp_path: Path) -> None:
    rig = JigRig(TIPS["snap"])
    rig.person.tip = lambda: {"tip": "whole"}  # type: ignore[method-assign]
    path, ended = rig.run(tmp_path, "pry_to_failure")
    with Logbook.open(path, writable=False) as book:
        asked = [row.body["step"]["text"] for row in book.journal(kind=STEP)]
    (again,) = [text for text in asked if "Look again" in text]
    assert again.startswith("The record shows a snap, you say whole")
    (trial,) = ended["trials"]
    assert not trial["valid"] and "the eye a tip that is whole" in trial["reasons"][-1]


def test_what_hangs_or_pulls_is_named_first_when_the_run_stops(tmp_path: Path) -> None:
    told: list[str] = []

    def stop(rig: JigRig, text: str) -> None:
        told.append(text)
        if text.startswith("PULL NOW: to the"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        JigRig(TIPS["snap"], hook=stop).run(tmp_path, "pry_to_failure")
    assert told[-1] == f"FIRST: {PULLED}"


def test_each_place_stands_as_its_last_step_left_it() -> None:
    def step(kind: str, hand: str = "") -> dict[str, Any]:
        return {"step": kind, "hand": hand}

    assert make_safe([], step("Tell")) == []
    assert make_safe([step("Raise")], step("Do")) == [HANGS]
    assert make_safe([step("Do", "seat"), step("Read", "free")], step("Do")) == [SEATED]
    assert make_safe([step("Do", "seat")], step("Record", "pry")) == [PULLED]
    assert make_safe([step("Do", "mount"), step("Do", "take_out")], step("Ask")) == []
    hung = make_safe([step("Read", "hang")], None)
    assert len(hung) == 1 and "weight" in hung[0]


def test_an_error_names_it_as_well(tmp_path: Path) -> None:
    told: list[str] = []

    def dead(rig: JigRig, text: str) -> None:
        told.append(text)
        if text.startswith("Zero: hands off the arm"):
            rig.board.fault("load_missing", 1)

    rig = JigRig(TIPS["snap"], hook=dead)
    with pytest.raises(RigError):
        rig.run(tmp_path, "pry_to_failure", {"again": ["stop"]})
    assert f"FIRST: {SEATED}" in told
