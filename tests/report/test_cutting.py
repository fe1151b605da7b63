"""Pages and pictures of edge life and sharpness."""

import base64
from pathlib import Path
from typing import Any

import pytest

from rig.board.samples import capture
from rig.guide import kinds
from rig.guide.steps import Note, plain
from rig.guide.verdict import KIND, read
from rig.measure.life import Life, survivor
from rig.report import lifefigure
from rig.report.cutting import EDGE_LIFE
from rig.report.gather import MeasuredTrial
from rig.report.sharpness import SHARPNESS
from tests.guide.edgeplay import Play
from tests.guide.test_cuts import FAST, carried


def trial_of(play: Play, told: dict[str, Any], measurand: str) -> MeasuredTrial:
    """The trial as the page gets it."""
    step: Any = [s for s in play.steps if getattr(s, "measurand", "") == measurand][-1]
    settings = plain(step.settings)
    result = kinds.compute(measurand, b"", settings)
    verdict = read([s.body for s in play.steps if isinstance(s, Note) and s.kind == KIND][-1])
    assert verdict.summary() == told
    return MeasuredTrial(
        step.trial, measurand, plain(result), settings, None, "", capture(b""), verdict, None
    )


def drawn(address: str) -> str:
    """The picture's text."""
    return base64.b64decode(address.split(",")[1]).decode()


def test_the_page_tells_life_counts_end_and_edge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("k3.jpg").write_bytes(b"an edge")
    play = Play({"photo": ["k3.jpg"], "hand_count": ["10", "5", "7", "11", "16", "24"]})
    told = play.run(photo="yes", count="hand", **FAST)
    cells = EDGE_LIFE.cells(trial_of(play, told, "edge_life"))
    assert cells[0] == "more than 33, at most 49 cuts"
    assert "COUNTED BY HAND: 73 of them" in cells[1]
    assert "73 cuts on 1 sheet of card, lot L7, 4 mm" in cells[1]
    assert cells[2] == "dull: marked places failed"
    assert cells[3] == "worn, photograph k3.jpg"


def test_the_picture_shows_every_probe_and_both_forces() -> None:
    play = Play(bench=carried())
    told = play.run(probe="shave,force", force_limit="1.0 N", force="yes", drive="hand",
                    cuts_per_sheet="20", control="C0", **FAST)  # fmt: skip
    one = trial_of(play, told, "edge_life")
    picture = EDGE_LIFE.picture(one)
    assert picture is not None
    words = picture[1]
    for probe in one.settings["probes"]:
        assert f"{probe['cuts']} cuts" in words
    for label in ("to sever, N", "to cut, N", "mark 3", "cuts"):
        assert f"<!-- {label} -->" in drawn(picture[0])


def test_a_survivor_is_told_as_more_than_and_an_unsharp_start_as_nothing() -> None:
    play = Play()
    one = trial_of(play, play.run(first="5", limit="20"), "edge_life")
    assert EDGE_LIFE.said(one) == "more than 20 cuts"
    play = Play({"shave_3": ["fail fail pass"]})
    one = trial_of(play, play.run(**FAST), "edge_life")
    assert EDGE_LIFE.said(one) == "" and EDGE_LIFE.picture(one) is None
    assert EDGE_LIFE.cells(one)[0] == "none can be stated"


def test_sharpness_tells_force_interval_and_grades() -> None:
    play = Play({"severing": ["1.1 N", "1.2 N", "1.3 N", "1.4 N", "1.15 N", "1.25 N", "1.22 N"]})
    one = trial_of(play, play.run("sharpness", probe="force,shave"), "sharpness")
    force, taken, interval, grades = SHARPNESS.cells(one)
    assert force.startswith("1.22") and interval == "1.1 to 1.4 N"
    assert taken == "1.1, 1.2, 1.3, 1.4, 1.15, 1.25, 1.22 N"
    assert grades.startswith("shave: 3 of 3 pass (takes hair off")
    assert SHARPNESS.picture(one) is not None


def test_a_second_try_is_told_and_does_not_count() -> None:
    play = Play({"paper_3": ["pass repeat pass"]})
    one = trial_of(play, play.run("sharpness", probe="paper"), "sharpness")
    assert "paper: 2 of 3 pass" in SHARPNESS.said(one)
    assert "1 failed and passed on a second try: failed" in SHARPNESS.said(one)


LIVES = [
    Life("A1", "A", 20, 25), Life("A2", "A", 25, 31), Life("A3", "A", 31, 39),
    Life("B1", "B", 31, 39), Life("B2", "B", 39, 49), survivor("B3", "B", 60),
]  # fmt: skip


def test_lives_are_drawn_as_bars_with_the_share_still_sharp_by_group() -> None:
    address, words = lifefigure.picture(LIVES, ["A", "B"])
    for life in LIVES:
        assert f"{life.specimen} of {life.group}: {life}" in words
    assert "A between 25 and 31" in words and "B between 39 and 49" in words
    assert "<!-- still sharp, % -->" in drawn(address)
