"""A reading of nothing keeps its uncertainty: in the answer, on the page, in the table."""

from pathlib import Path

import pandas as pd
import pytest

from rig.report import studypage, studytables
from rig.study.answers.answer import Answer
from rig.study.answers.whole import unsealed
from tests.study.books import StudyBook, begin, record, response

NONE = {"kind": "none", "depth_m": 0.0, "width_m": 0.0, "u_m": 0.0}
DEPTHS = {"A1": (2e-4, 2e-5), "A2": (3e-4, 5e-5), "B1": (1e-4, 2e-5)}


def struck(path: Path, seen: bool, none: dict[str, object] = NONE) -> StudyBook:
    """Four blades struck; one, or all when nothing is `seen`, without damage."""
    study = record({"A": 2, "B": 2}, [response("impact_damage")])
    made = begin(path / "s.logbook", study)
    for blade in ("A1", "A2", "B1", "B2"):
        depth, u = DEPTHS.get(blade, (0.0, 0.0)) if seen else (0.0, 0.0)
        damage = none if depth == 0 else {"kind": "roll", "depth_m": depth, "u_m": u}
        made.trial(blade, "drop_impact", {}, damage=damage)
    made.unseal()
    made.book.close()
    return made


def answered(made: StudyBook) -> Answer:
    """The only answer."""
    (one,) = unsealed(made.book.path).answers
    return one


def test_no_damage_seen_has_the_largest_uncertainty_of_the_other_readings(tmp_path: Path) -> None:
    one = answered(struck(tmp_path, seen=True))
    assert {seen.blade: seen.u for seen in one.data.observations} == pytest.approx(
        {"A1": 0.02, "A2": 0.05, "B1": 0.02, "B2": 0.05}
    )
    (note,) = [note for note in one.notes if "Nothing was seen" in note]
    assert "on 1 blade (0 mm)" in note and "0.1 mm, k = 2" in note


def test_none_with_an_uncertainty_of_its_own_borrows_nothing(tmp_path: Path) -> None:
    one = answered(struck(tmp_path, seen=False, none={**NONE, "smallest_m": 3e-5, "u_m": 1.7e-5}))
    assert [seen.u for seen in one.data.observations] == pytest.approx([0.017] * 4)
    assert not any("Nothing was seen" in note for note in one.notes)


def test_every_reading_on_the_page_has_its_uncertainty(tmp_path: Path) -> None:
    made = struck(tmp_path, seen=True)
    text = studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")
    assert "0.00 ± 0.10 mm" in text and ">0 mm<" not in text


def test_damage_nowhere_says_that_its_uncertainty_is_not_known(tmp_path: Path) -> None:
    made = struck(tmp_path, seen=False)
    assert any("seen is not on record" in note for note in answered(made).notes)
    text = studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")
    assert "0 mm (± not on record)" in text and ">0 mm<" not in text


def test_the_table_never_states_an_uncertainty_of_nought(tmp_path: Path) -> None:
    made = struck(tmp_path, seen=True)
    rows = pd.read_csv(studytables.export(made.book.path, tmp_path / "t")[0])
    told = dict(zip(rows.blade, rows.impact_damage_u, strict=True))
    assert told["A1"] == pytest.approx(0.02) and pd.isna(told["B2"])
