"""What is stored stays, comes back as it was, and is never overwritten."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import RigError
from rig.logbook import ClockSetBack, Logbook
from rig.logbook.audit import audit
from tests.logbook.books import START, Clock, small_book


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "study.logbook"


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def book(path: Path, clock: Clock) -> Iterator[Logbook]:
    with Logbook.create(path, title="Paring knives", now=clock) as made:
        yield made


def start(book: Logbook) -> int:
    return book.start_run("drop", "5eed", {"height_m": 0.25}, {"rig": "1.0"})


def test_a_row_comes_back_with_its_number_time_run_kind_and_body(book: Logbook) -> None:
    run = start(book)
    number = book.append("step", {"b": [1, 2.5, None], "a": "für"}, run)
    row = list(book.journal())[-1]
    assert (row.number, row.run_id, row.kind, row.body) == (
        number,
        run,
        "step",
        {"a": "für", "b": [1, 2.5, None]},
    )
    assert START < row.at_utc < START + timedelta(seconds=1)


def test_the_journal_is_read_by_run_and_by_kind_in_order(book: Logbook) -> None:
    first, second = start(book), start(book)
    for index in range(600):
        book.append("step", {"index": index}, (first, second)[index % 2])
        book.append("beat", {}, second)
    assert [row.body["index"] for row in book.journal(first, "step")] == list(range(0, 600, 2))
    assert [row.body["index"] for row in book.journal(kind="step")] == list(range(600))
    numbers = [row.number for row in book.journal()]
    assert numbers == list(range(1, len(numbers) + 1))


def test_rows_may_be_added_while_the_journal_is_being_read(book: Logbook) -> None:
    book.append("note", {"n": 0})
    for row in book.journal(kind="note"):
        if row.body["n"] < 5:
            book.append("note", {"n": row.body["n"] + 1})
    assert [row.body["n"] for row in book.journal(kind="note")] == [0, 1, 2, 3, 4, 5]


def test_a_logbook_keeps_its_title_and_identity(path: Path) -> None:
    with Logbook.create(path, title="Paring knives") as book:
        identity = book.logbook_id
    with Logbook.open(path, writable=False) as book:
        assert (book.title, book.logbook_id) == ("Paring knives", identity)


def test_two_logbooks_have_two_identities(tmp_path: Path) -> None:
    with (
        Logbook.create(tmp_path / "a", title="t") as a,
        Logbook.create(tmp_path / "b", title="t") as b,
    ):
        assert a.logbook_id != b.logbook_id


def test_a_run_is_unfinished_until_it_is_ended(book: Logbook) -> None:
    first, second = start(book), start(book)
    book.end_run(first, "abandoned", "blade chipped before the trial")
    assert [run.run_id for run in book.unfinished_runs()] == [second]
    ended, open_run = book.runs()
    assert (ended.outcome, ended.reason) == ("abandoned", "blade chipped before the trial")
    assert ended.ended_utc is not None
    assert ended.ended_utc > ended.started_utc
    assert (open_run.outcome, open_run.ended_utc) == (None, None)
    assert (open_run.params, open_run.versions) == ({"height_m": 0.25}, {"rig": "1.0"})


def test_a_run_is_ended_once(book: Logbook) -> None:
    run = start(book)
    book.end_run(run, "finished", "done")
    with pytest.raises(RigError, match="run 1 was finished before"):
        book.end_run(run, "abandoned", "second thoughts")


@settings(max_examples=25)
@given(frames=st.binary(max_size=20000))
def test_raw_frames_come_back_byte_for_byte(
    frames: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    with Logbook.create(tmp_path_factory.mktemp("raw") / "s", title="t") as book:
        raw = book.store_raw(start(book), "T1", frames, {"port": "stand-in"})
        assert book.raw(raw) == (frames, {"port": "stand-in"})


def test_raw_frames_are_found_by_trial(book: Logbook) -> None:
    run = start(book)
    for trial in ("T1", "T2", "T1"):
        book.store_raw(run, trial, b"frames", {})
    assert book.raw_ids(run, "T1") == [1, 3]
    assert book.raw_ids() == [1, 2, 3]


def test_changed_raw_frames_are_refused(path: Path) -> None:
    small_book(path)
    with closing(sqlite3.connect(path)) as shell:
        query = "SELECT sql FROM sqlite_schema WHERE name = 'raw_update'"
        (trigger,) = shell.execute(query).fetchone()
        shell.execute("DROP TRIGGER raw_update")
        shell.execute("UPDATE raw SET sha256 = 'f00d' WHERE raw_id = 1")
        shell.execute(trigger)
        shell.commit()
    with Logbook.open(path, writable=False) as book, pytest.raises(RigError, match="raw 1 was ch"):
        book.raw(1)


def test_a_new_result_supersedes_the_older_one_which_stays(book: Logbook) -> None:
    run = start(book)
    raw = book.store_raw(run, "T1", b"frames", {})
    old = book.store_result(run, "T1", "peak force", {"value_n": 812.0}, [raw])
    new = book.store_result(run, "T1", "peak force", {"value_n": 815.0}, [raw], supersedes=old)
    first, second = book.results(run, "T1")
    assert (first.result, first.superseded_by) == ({"value_n": 812.0}, new)
    assert (second.result, second.supersedes, second.superseded_by) == (
        {"value_n": 815.0},
        old,
        None,
    )
    assert second.raw_ids == (raw,)


def test_a_result_is_superseded_only_once_and_only_by_its_own_kind(book: Logbook) -> None:
    run = start(book)
    old = book.store_result(run, "T1", "peak force", 1.0, [])
    book.store_result(run, "T1", "peak force", 2.0, [], supersedes=old)
    with pytest.raises(RigError, match="result 1 is superseded by result 2 already"):
        book.store_result(run, "T1", "peak force", 3.0, [], supersedes=old)
    with pytest.raises(RigError, match="belongs to run 1, trial T1, measurand peak force"):
        book.store_result(run, "T2", "peak force", 3.0, [], supersedes=2)


@pytest.mark.parametrize("table", ["run", "raw", "result"])
def test_a_number_that_is_not_there_is_refused(book: Logbook, table: str) -> None:
    run = start(book)
    with pytest.raises(RigError, match=f"there is no {table} 9 in this logbook"):
        if table == "run":
            book.append("step", {}, 9)
        elif table == "raw":
            book.store_result(run, "T1", "peak force", 1.0, [9])
        else:
            book.store_result(run, "T1", "peak force", 1.0, [], supersedes=9)


def test_the_logbooks_own_kinds_cannot_be_forged_through_append(book: Logbook) -> None:
    with pytest.raises(ValueError, match="run-ended"):
        book.append("run-ended", {"outcome": "finished", "reason": ""})


def test_a_transaction_stores_all_or_nothing(book: Logbook) -> None:
    run, before = start(book), book.head_fingerprint()
    with pytest.raises(KeyError), book.transaction():
        raw = book.store_raw(run, "T1", b"frames", {})
        book.store_result(run, "T1", "peak force", 1.0, [raw])
        raise KeyError("a fault in the caller")
    assert (book.head_fingerprint(), book.raw_ids(), book.results()) == (before, [], [])
    with book.transaction():
        raw = book.store_raw(run, "T1", b"frames", {})
        book.store_result(run, "T1", "peak force", 1.0, [raw])
    assert (book.raw_ids(), len(book.results())) == ([1], 1)


def test_a_failed_part_leaves_nothing_of_itself_in_its_transaction(
    path: Path, book: Logbook, clock: Clock
) -> None:
    with book.transaction():
        run = start(book)
        clock.at -= timedelta(seconds=10)
        with pytest.raises(ClockSetBack):
            book.store_raw(run, "T1", b"frames", {})
        clock.at += timedelta(seconds=10)
        book.append("note", {})
    assert book.raw_ids() == []
    assert audit(path) == []


@pytest.mark.parametrize("table", ["journal", "run", "raw", "result"])
@pytest.mark.parametrize(
    "change",
    [
        "UPDATE {table} SET {key} = 77",
        "UPDATE OR REPLACE {table} SET {key} = 1",
        "DELETE FROM {table}",
        "INSERT OR REPLACE INTO {table} SELECT * FROM {table} WHERE {key} = 1",
        "REPLACE INTO {table} SELECT * FROM {table} WHERE {key} = 1",
    ],
)
def test_the_database_itself_refuses_to_change_a_row(path: Path, table: str, change: str) -> None:
    small_book(path)
    key = "number" if table == "journal" else f"{table}_id"
    refused = pytest.raises(sqlite3.IntegrityError, match=r"append-only|without gaps")
    with closing(sqlite3.connect(path)) as shell, refused:
        shell.execute(change.format(table=table, key=key))
    assert audit(path) == []


def test_the_database_itself_refuses_a_second_successor(path: Path) -> None:
    small_book(path)
    refused = pytest.raises(sqlite3.IntegrityError, match="superseded once")
    with closing(sqlite3.connect(path)) as shell, refused:
        shell.execute(
            "REPLACE INTO result SELECT 3, journal_number, run_id, trial, measurand, result, "
            "raw_ids, supersedes FROM result WHERE result_id = 2"
        )


def test_a_clock_set_back_stops_the_append_until_it_is_accepted(
    book: Logbook, clock: Clock
) -> None:
    book.append("note", {})
    clock.at -= timedelta(hours=1)
    with pytest.raises(ClockSetBack, match=r"06:08:09\.\d+Z.*07:08:09") as caught:
        book.append("note", {})
    assert caught.value.now < caught.value.last
    book.accept_clock("daylight saving was set by hand")
    book.append("note", {})
    accepted, note = list(book.journal())[-2:]
    assert accepted.body["reason"] == "daylight saving was set by hand"
    assert note.at_utc > accepted.at_utc


def test_a_clock_corrected_by_less_than_two_seconds_is_let_pass(
    book: Logbook, clock: Clock
) -> None:
    clock.at -= timedelta(seconds=1.9)
    assert book.append("note", {}) == 3


def test_a_reader_sees_committed_rows_while_a_writer_works(path: Path, book: Logbook) -> None:
    with Logbook.open(path, writable=False) as reader:
        book.append("note", {"n": 1})
        assert [row.body for row in reader.journal(kind="note")] == [{"n": 1}]
        with book.transaction():
            book.append("note", {"n": 2})
            assert [row.body for row in reader.journal(kind="note")] == [{"n": 1}]
        assert [row.body["n"] for row in reader.journal(kind="note")] == [1, 2]


def test_a_reader_cannot_write(path: Path) -> None:
    small_book(path)
    with Logbook.open(path, writable=False) as reader, pytest.raises(RuntimeError):
        reader.append("note", {})


def test_a_closed_logbook_is_one_file(path: Path) -> None:
    small_book(path)
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_every_commit_is_forced_to_the_disk(book: Logbook) -> None:
    connection = book._session.connection
    pragmas = [
        connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("synchronous", "journal_mode", "foreign_keys")
    ]
    assert pragmas == [2, "wal", 1]  # 2 is FULL in SQLite's numbering
