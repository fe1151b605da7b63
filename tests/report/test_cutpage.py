"""The pages of a whole cutting test and of a sharpness probe: forces, motor, frames."""

import re
from pathlib import Path

from rig.guide import script as scripts
from rig.report.page import content
from tests.guide.framerig import FrameRig, play
from tests.guide.rigs import new_book
from tests.guide.test_cuts_whole import QUICK, driven, rig_with
from tests.guide.test_strokes import at_count, later, open_guard
from tests.report.text import words

FORCE = {
    "first": "4", "ratio": "1.4", "limit": "34", "force": "yes", "probe": "shave,force",
    "force_limit": "2 N", "readings": "3", "cuts_per_sheet": "33",
}  # fmt: skip


def cut(folder: Path, rig: FrameRig, motor: bool, **given: str) -> Path:
    """A whole test; gives its logbook."""
    bench = driven() if motor else None
    with new_book(folder) as book:
        play(book, rig, scripts.load("cuts_to_dull"), bench=bench, given={**QUICK, **given})
        return book.path


def test_a_test_without_force_mentions_neither_force_nor_uncertainty(tmp_path: Path) -> None:
    page = words(cut(tmp_path, rig_with(), motor=False))
    trials, limits = page.split("Conditions")[0], page.split("What this page cannot say")[1]
    assert "±" not in trials and "Force" not in trials
    assert "utting force" not in limits
    assert "No certificate of this bench enters these results." in page


def test_a_force_has_its_interval_and_its_unit_and_every_probe_its_u(tmp_path: Path) -> None:
    path = cut(tmp_path, rig_with(load=True, turn_s=0.7), motor=True, **FORCE)
    page = words(path)
    assert re.search(r"cutting force rose by [\d.e-]+ N \(95 %: [\d.e-]+ N to [\d.e-]+ N\)", page)
    assert "Cutting force goes by the figures of the cell's maker" in page
    others = page.split("What else was measured")[1].split("Conditions")[0]
    probes = re.findall(r"severing force ([\d.]+ ± [\d.]+ N)", others)
    (trial,) = content(path, None)["trials"]
    assert trial["trial"] == "K3 cuts" and len(probes) >= 3
    assert "motor stopped" not in page, "it made what it was permitted"


def test_the_motors_stops_are_told_once_each_with_their_reason(tmp_path: Path) -> None:
    rig = rig_with(turn_s=0.7)
    rig.live = at_count(3, later(0.5, open_guard))
    page = words(cut(tmp_path, rig, motor=True, ratio="2", limit="20"))
    told = re.findall(r"the motor stopped: [^0-9]*", page)
    assert len(told) == 1
    assert told[0].startswith("the motor stopped: the guard is open, or its loop is cut")
    assert "close it" not in told[0], "what to do about it was for the person there"


def test_the_frames_of_every_stretch_of_cuts_are_listed(tmp_path: Path) -> None:
    page = words(cut(tmp_path, rig_with(), motor=False))
    listed = page.split("SHA-256")[1]
    assert not re.search(r"SHA-256 \d|[0-9a-f]{64} \d", page), "each with its trial"
    assert "K3 cuts from 0" in listed and "K3 cuts from 10" in listed


def test_a_page_of_grades_alone_speaks_of_no_force(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        play(
            book, rig_with(), scripts.load("sharpness"), given={"specimen": "K3", "probe": "shave"}
        )
        path = book.path
    page = words(path).split("Conditions")[0]
    assert "1 of 1 probe is valid. Grades: shave: 3 of 3 pass" in page
    assert "evering force" not in page and "six readings" not in page
    limits = words(path).split("What this page cannot say")[1]
    assert "A grade is one person's judgement" in limits and "same thread" not in limits
