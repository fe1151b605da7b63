"""Runs into the logbook of a sealed study: which blade they take."""

from pathlib import Path

import pytest

from rig.logbook import Logbook
from rig.report import studypage
from rig.study.register import kept
from rig.study.register.kept import OUT_OF_TURN
from tests.cli.inside import done, refused, told
from tests.study.books import StudyBook, begin, record


def readings(code: str) -> str:
    """What is typed for one blade, its code off its label too."""
    block = ["", "", "60.3", "0.4", "", *["60.3"] * 5]
    piece = ["3 mm", "flat", "0.5", code, "", *["61.5"] * 5]
    return "\n".join([*block, *piece, "3 mm", "", *["60.3"] * 5, ""])


@pytest.fixture
def made(tmp_path: Path) -> StudyBook:
    """Hardness and pry of four blades, none made yet; its logbook is closed."""
    study = record({"A": 2, "B": 2}, ["hardness", "pry_torque"])
    book = begin(tmp_path / "s.logbook", study)
    book.book.close()
    return book


def test_a_blades_own_name_is_refused_before_anything_moves(made: StudyBook) -> None:
    path = made.book.path
    line = refused("run", "pry_to_failure", path, "specimen=A1", "--virtual")
    assert "no blade of this study has the code 'A1'" in line and "study next" in line
    with Logbook.open(path, writable=False) as book:
        assert book.runs() == []


def test_a_blade_out_of_turn_needs_a_reason(made: StudyBook) -> None:
    last = made.order.trials[3].code
    line = refused("run", "hardness", made.book.path, f"specimen={last}", "--virtual")
    first = made.order.trials[0].code
    assert f"hardness on {last} is out of turn: the plan has hardness on {first} next" in line
    assert "--out-of-turn" in line


def test_out_of_turn_is_on_record_with_its_reason(made: StudyBook) -> None:
    last, path = made.order.trials[3].code, made.book.path
    told("run", "hardness", path, f"specimen={last}", "--virtual", "--out-of-turn", "one lost",
         typed=readings(last))  # fmt: skip
    with Logbook.open(path, writable=False) as book:
        (row,) = book.journal(kind=OUT_OF_TURN)
    assert row.body["reason"] == "one lost" and row.body["specimen"] == last
    with Logbook.open(path, writable=True) as book:
        kept.unseal(book, "a test")
    page = studypage.write(path, None)[0].read_text(encoding="utf-8")
    assert "Made out of turn" in page and "one lost" in page


def test_a_run_that_names_no_blade_takes_the_plans_next(made: StudyBook) -> None:
    first, path = made.order.trials[0].code, made.book.path
    assert f"Blade {first} of the study" in done(
        "run", "hardness", path, "--virtual", typed=readings(first)
    )
    assert f"on blade {made.order.trials[1].code}" in done("study", "next", path)
