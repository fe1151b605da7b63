"""A study's table: one row a trial, nothing given away while sealed, every column explained."""

from pathlib import Path

import fastparquet
import pandas as pd

from rig.report import studytables
from tests.report.test_studypage import made
from tests.study.books import begin, record


def table(path: Path, folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The exported table and its dictionary, read back."""
    csv, packed, columns = studytables.export(path, folder)
    read = pd.read_csv(csv)
    with packed.open("rb") as file:
        again = fastparquet.ParquetFile(file)
        assert "pry torque to failure, N.m" in str(again.key_value_metadata)
        frame = again.to_pandas()
    assert list(frame.columns) == list(read.columns) and len(frame) == len(read)
    numbers = [name for name in read.columns if name not in studytables.COLUMNS]
    pd.testing.assert_frame_equal(
        frame[numbers].astype(float), read[numbers].astype(float), check_names=False
    )
    return read, pd.read_csv(columns)


def test_every_trial_is_a_row_with_its_values_and_why_it_does_not_count(tmp_path: Path) -> None:
    told = made(tmp_path)
    told.trial("K9", "pry_to_failure", {"peak_torque": (5.0, 0.1)})
    told.trial("A1", "edge_twist", {"peak_torque": (5.0, 0.1)})
    told.book.close()
    rows, columns = table(told.book.path, tmp_path / "t")
    assert list(columns.column) == list(rows.columns) and columns.meaning.notna().all()
    assert len(rows) == 6 * 4 + 2
    pried = rows[(rows.blade == "A2") & (rows.procedure == "pry_to_failure")].iloc[0]
    assert pried.pry_torque == 11.0 and pried.pry_torque_u == 0.05
    assert pried.group == "A" and pried.counts_in == "pry_torque" and pried.blind
    life = rows[(rows.blade == "B2") & (rows.procedure == "cuts_to_dull")].iloc[0]
    assert life.edge_life_last_pass == 140 and pd.isna(life.edge_life_first_fail)
    expired = rows[(rows.blade == "B3") & (rows.procedure == "pry_to_failure")].iloc[0]
    assert "pry_torque: an indication only" in expired.left_out and not expired.blind
    foreign = rows[rows.code == "K9"].iloc[0]
    assert "no code of this study" in foreign.left_out and pd.isna(foreign.place)
    assert "compares nothing of it" in rows[rows.procedure == "edge_twist"].iloc[0].left_out
    assert sorted(rows.place.dropna()) == list(range(1, 25))


def test_a_sealed_study_gives_nothing_away(tmp_path: Path) -> None:
    told = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    told.pry("A1", 10.0)
    told.book.close()
    rows, _ = table(told.book.path, tmp_path / "t")
    assert len(rows) == 1 and rows.pry_torque.item() == 10.0
    for name in studytables.SEALED:
        assert rows[name].isna().all(), name


def test_a_study_without_trials_has_an_empty_table(tmp_path: Path) -> None:
    told = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    told.book.close()
    rows, columns = table(told.book.path, tmp_path / "t")
    assert len(rows) == 0 and len(columns) == len(rows.columns)
