"""What a run was asked for: what nobody set is not told as if somebody had."""

from pathlib import Path

import pytest

from rig.logbook import Logbook
from rig.logbook.records import Run
from rig.report import run_settings
from rig.session.resuming import told
from tests.cli.inside import done
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, new_book
from tests.guide.rigs import run as made
from tests.report.text import words


def run_of(path: Path) -> Run:
    with Logbook.open(path, writable=False) as book:
        return book.runs()[-1]


@pytest.fixture(scope="module")
def twisted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path, _ = JigRig(TIPS["snap"]).run(tmp_path_factory.mktemp("asked"), "edge_twist")
    return path


@pytest.fixture(scope="module")
def dropped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    with new_book(tmp_path_factory.mktemp("asked")) as book:
        made(book, VirtualRig(), *impact(spare="0"))
        return book.path


def test_nought_for_not_set_is_left_out(twisted: Path) -> None:
    assert run_of(twisted).params["cycles"] == 0
    assert "cycles" not in run_settings.settings(run_of(twisted))
    page = words(twisted)
    assert "cycles: 0" not in page and "specimen: K3" in page


def test_a_nought_that_was_asked_for_is_told(dropped: Path) -> None:
    assert run_settings.settings(run_of(dropped))["spare"] == "0"
    assert "spare: 0" in words(dropped)


def test_an_unfinished_run_is_told_by_what_differs_from_the_defaults(dropped: Path) -> None:
    assert run_settings.unlike_defaults(run_of(dropped)) == {
        "energy": "5 J", "specimen": "K3", "spare": "0",
    }  # fmt: skip
    line = told(run_of(dropped))
    assert line.startswith("run 1 (drop_impact energy=5 J, spare=0, specimen=K3) on")


def test_the_report_command_says_what_came_of_the_run(dropped: Path, tmp_path: Path) -> None:
    lines = done("report", dropped, "--out", tmp_path / "p.html").splitlines()
    assert lines[0].startswith(
        "Run 1, drop_impact: VIRTUAL RIG, practice: 1 of 1 drop is valid. Impact energy: "
    )
    assert lines[-1].startswith(f"Report: {tmp_path / 'p.html'}")
