"""The audit names what is wrong and where, whatever was done to the file."""

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import RigError
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.logbook.hashing import GENESIS_PREVIOUS, row_hash
from tests.logbook.books import START, Clock, small_book

TABLES = {"journal": "journal row", "run": "run", "raw": "raw", "result": "result"}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sound") / "study.logbook"
    small_book(path)
    return path


@pytest.fixture
def copy(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(sound, tmp_path / "study.logbook"))


def places(path: Path) -> set[str]:
    return {finding.place for finding in audit(path)}


def tamper(path: Path, *statements: str) -> None:
    """Changes a file as somebody with an SQLite shell would: triggers out of the way first."""
    with closing(sqlite3.connect(path, isolation_level=None)) as shell:
        triggers = shell.execute(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in triggers:
            shell.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            shell.execute(statement)
        for _, sql in triggers:
            shell.execute(sql)


def test_a_sound_logbook_has_no_findings(sound: Path) -> None:
    assert audit(sound) == []


def test_a_logbook_being_written_has_no_findings(tmp_path: Path) -> None:
    path = tmp_path / "study.logbook"
    with Logbook.create(path, title="t") as book:
        book.append("note", {"text": "one"})
        with book.transaction():
            book.append("note", {"text": "two"})
            assert audit(path) == []


@pytest.mark.parametrize(
    ("statement", "place"),
    [
        ("UPDATE journal SET body = replace(body, 'wiped', 'oiled')", "journal row 21"),
        ("UPDATE journal SET kind = 'remark' WHERE number = 7", "journal row 7"),
        ("UPDATE journal SET run_id = NULL WHERE number = 7", "journal row 7"),
        (
            "UPDATE journal SET at_utc = '2031-05-06T07:08:10.000000Z' WHERE number = 7",
            "journal row 7",
        ),
        ("UPDATE journal SET hash = zeroblob(32) WHERE number = 7", "journal row 7"),
        ("DELETE FROM journal WHERE number = 7", "journal row 7"),
        ("DELETE FROM journal WHERE number BETWEEN 7 AND 9", "journal row 7"),
        ("UPDATE journal SET number = 99 WHERE number = 7", "journal row 7"),
        ("UPDATE result SET result = '{\"value_n\":900.0}' WHERE result_id = 2", "result 2"),
        ("UPDATE result SET supersedes = NULL", "result 2"),
        ("DELETE FROM result WHERE result_id = 2", "result 2"),
        ("UPDATE raw SET meta = '{}' WHERE raw_id = 1", "raw 1"),
        ("UPDATE raw SET trial = 'T2' WHERE raw_id = 1", "raw 1"),
        ("UPDATE run SET params = '{\"height_m\":0.5}'", "run 1"),
        ("DELETE FROM raw WHERE raw_id = 2", "raw 2"),
        (
            "INSERT INTO raw SELECT 3, 16, run_id, trial, meta, length, sha256, packed FROM raw "
            "WHERE raw_id = 1",
            "raw 3",
        ),
        (
            "INSERT INTO result SELECT 3, journal_number, run_id, trial, measurand, result, "
            "'[77]', NULL FROM result WHERE result_id = 1",
            "result 3",
        ),
        ("PRAGMA user_version = 1", "file header"),
        ("PRAGMA user_version = 99", "file header"),
        ("PRAGMA application_id = 5", "file header"),
        ("CREATE TABLE notes (text)", "table notes"),
        ("DROP INDEX raw_by_trial", "index raw_by_trial"),
    ],
)
def test_a_change_by_sql_is_named_at_its_place(copy: Path, statement: str, place: str) -> None:
    tamper(copy, statement)
    assert place in places(copy)


def test_a_result_that_rests_on_a_missing_raw_says_so(copy: Path) -> None:
    tamper(copy, "DELETE FROM raw WHERE raw_id = 2")
    assert any("rests on raw 2" in str(finding) for finding in audit(copy))


def test_a_reference_to_a_missing_run_is_named(copy: Path) -> None:
    tamper(copy, "UPDATE raw SET run_id = 8 WHERE raw_id = 1")
    assert any("names a row of run" in str(finding) for finding in audit(copy))


def test_one_changed_row_is_the_only_row_named(copy: Path) -> None:
    tamper(copy, "UPDATE journal SET hash = zeroblob(32) WHERE number = 7")
    assert places(copy) == {"journal row 7"}


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("event", ["update", "delete", "insert"])
def test_a_missing_trigger_is_named(copy: Path, table: str, event: str) -> None:
    with closing(sqlite3.connect(copy)) as shell:
        shell.execute(f"DROP TRIGGER {table}_{event}")
    assert places(copy) == {f"trigger {table}_{event}"}


def test_a_trigger_made_harmless_is_named(copy: Path) -> None:
    with closing(sqlite3.connect(copy)) as shell:
        shell.execute("DROP TRIGGER journal_update")
        shell.execute("CREATE TRIGGER journal_update BEFORE UPDATE ON journal BEGIN SELECT 1; END")
    assert [str(f).split(";")[0] for f in audit(copy)] == ["trigger journal_update: was altered"]


def test_a_clock_that_went_back_without_a_reason_is_named(tmp_path: Path) -> None:
    path, clock = tmp_path / "study.logbook", Clock()
    with Logbook.create(path, title="t", now=clock) as book:
        book.append("note", {})
        clock.at -= timedelta(seconds=5)
        book.accept_clock("the battery of the computer was flat")
        book.append("note", {})
    assert audit(path) == []
    # The same back-step under another kind of row, chained anew by someone who knows how.
    rechain(path, lambda row: row._replace(kind="note") if row.kind == "clock-accepted" else row)
    (finding,) = audit(path)
    assert finding.place == "journal row 4"
    assert "no reason is journalled" in finding.what


@pytest.mark.parametrize(("seconds", "found"), [(1.9, 0), (2.1, 1)])
def test_the_audit_lets_pass_a_clock_corrected_by_less_than_two_seconds_and_no_more(
    tmp_path: Path, seconds: float, found: int
) -> None:
    path, clock = tmp_path / "study.logbook", Clock()
    with Logbook.create(path, title="t", now=clock) as book:
        book.append("note", {})
        clock.at -= timedelta(seconds=seconds)
        if found:
            book.accept_clock("to be taken out below")
        book.append("note", {})
    rechain(path, lambda row: row._replace(kind="note") if row.kind == "clock-accepted" else row)
    assert len(audit(path)) == found


class Stored(NamedTuple):
    number: int
    at_utc: str
    run_id: int | None
    kind: str
    body: str
    hash: bytes


def rechain(path: Path, change: Callable[[Stored], Stored]) -> None:
    """Writes the whole chain anew with changed rows, as a forger would."""
    with closing(sqlite3.connect(path)) as shell:
        stored = [Stored(*row) for row in shell.execute("SELECT * FROM journal ORDER BY number")]
    previous, statements = GENESIS_PREVIOUS, []
    for row in map(change, stored):
        previous = row_hash(previous, *row[:-1])
        statements.append(
            f"UPDATE journal SET kind = '{row.kind}', body = '{_quoted(row.body)}', "
            f"hash = x'{previous.hex()}' WHERE number = {row.number}"
        )
    tamper(path, *statements)


def _quoted(text: str) -> str:
    return text.replace("'", "''")


def test_only_a_printed_fingerprint_shows_a_chain_written_anew(copy: Path, sound: Path) -> None:
    with Logbook.open(sound, writable=False) as book:
        printed = book.head_fingerprint()
    rechain(copy, lambda row: row._replace(body=row.body.replace("wiped", "oiled")))
    assert audit(copy) == []
    assert [finding.place for finding in audit(copy, printed=printed)] == ["fingerprint"]


def test_only_a_printed_fingerprint_shows_that_the_last_rows_are_gone(
    copy: Path, sound: Path
) -> None:
    with Logbook.open(sound, writable=False) as book:
        printed = book.head_fingerprint()
    tamper(copy, "DELETE FROM journal WHERE number >= 21")
    assert audit(copy) == []
    assert [finding.place for finding in audit(copy, printed=printed)] == ["fingerprint"]


def test_a_fingerprint_printed_earlier_is_still_found_when_the_journal_has_grown(
    copy: Path,
) -> None:
    with Logbook.open(copy, writable=True, now=Clock(START + timedelta(1))) as book:
        printed = book.head_fingerprint()
        book.append("note", {"text": "later"})
    assert audit(copy, printed=printed) == []


# -- bytes


class Cell(NamedTuple):
    table: str
    row_id: int
    start: int
    end: int


def cells(path: Path) -> Iterator[Cell]:
    """Where each row's bytes stand in the file (own reading of the SQLite file format)."""
    image = path.read_bytes()
    size = int.from_bytes(image[16:18], "big")
    with closing(sqlite3.connect(path)) as shell:
        roots = shell.execute(
            "SELECT name, rootpage FROM sqlite_schema WHERE type = 'table'"
        ).fetchall()
    for table, root in roots:
        waiting = [root]
        while waiting:
            start = (waiting.pop() - 1) * size
            count = int.from_bytes(image[start + 3 : start + 5], "big")
            head = 12 if image[start] == 5 else 8
            for index in range(count):
                at = start + head + 2 * index
                cell = start + int.from_bytes(image[at : at + 2], "big")
                if image[start] == 5:
                    waiting.append(int.from_bytes(image[cell : cell + 4], "big"))
                    continue
                length, at = varint(image, cell)
                row_id, at = varint(image, at)
                yield Cell(table, row_id, cell, at + local(length, size))
            if image[start] == 5:
                waiting.append(int.from_bytes(image[start + 8 : start + 12], "big"))


def local(length: int, size: int) -> int:
    """Bytes of a row that stand on its own page, next-page pointer included."""
    if length <= size - 35:
        return length
    least = (size - 12) * 32 // 255 - 23
    fitting = least + (length - least) % (size - 4)
    return (fitting if fitting <= size - 35 else least) + 4


def varint(image: bytes, at: int) -> tuple[int, int]:
    value = 0
    while True:
        value = (value << 7) | (image[at] & 0x7F)
        at += 1
        if image[at - 1] < 0x80:
            return value, at


def test_the_cells_of_every_table_are_found_in_the_file(sound: Path) -> None:
    found = {(cell.table, cell.row_id) for cell in cells(sound)}
    expected = {
        *(("journal", number) for number in range(1, 23)),
        ("run", 1),
        ("raw", 1),
        ("raw", 2),
        ("result", 1),
        ("result", 2),
    }
    assert found == expected


PARTS = 6  # of the rows, in turn


@pytest.mark.parametrize("part", range(PARTS))
def test_every_single_changed_byte_of_a_row_names_that_row(copy: Path, part: int) -> None:
    image = copy.read_bytes()
    silent = []
    for cell in list(cells(copy))[part::PARTS]:
        name = f"{TABLES[cell.table]} {cell.row_id}"
        for at in range(cell.start, cell.end, 1 if cell.table != "raw" else 17):
            in_head = at < cell.start + 12
            for mask in (0x01, 0x02, 0x08, 0x10, 0x80, 0xFF) if in_head else (1 << at % 8,):
                changed = bytearray(image)
                changed[at] ^= mask
                copy.write_bytes(changed)
                if name not in places(copy):
                    silent.append((name, at - cell.start, mask))
    assert silent == []


def test_a_changed_byte_on_an_overflow_page_names_the_raw_that_runs_on_there(copy: Path) -> None:
    image = copy.read_bytes()
    with closing(sqlite3.connect(copy)) as shell:
        (packed,) = shell.execute("SELECT packed FROM raw WHERE raw_id = 2").fetchone()
    tail = image.index(packed[5000:5032])
    for at in range(tail, tail + 32):
        changed = bytearray(image)
        changed[at] ^= 0x10
        copy.write_bytes(changed)
        assert "raw 2" in places(copy)


@settings(max_examples=600)
@given(data=st.data())
def test_no_damage_of_the_file_makes_the_audit_crash(
    data: st.DataObject, sound: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    image = bytearray(sound.read_bytes())
    anywhere = st.integers(0, len(image) - 1)
    page_heads = st.builds(
        lambda page, at: page * 4096 + at,
        st.integers(0, len(image) // 4096 - 1),
        st.integers(0, 60),
    )
    flips = st.tuples(anywhere | page_heads, st.integers(1, 255))
    for at, mask in data.draw(st.lists(flips, min_size=1, max_size=8)):
        image[at] ^= mask
    length = data.draw(st.just(len(image)) | st.integers(1, len(image)))
    path = tmp_path_factory.getbasetemp() / "damaged.logbook"
    for leftover in path.parent.glob("damaged.logbook-*"):
        leftover.unlink()
    path.write_bytes(image[:length])
    if not audit(path):
        assert content(path) == content(sound)


@settings(max_examples=200)
@given(st.integers(0, 199), st.integers(1, 255))
def test_no_change_in_the_first_bytes_of_the_file_goes_wrong_silently(
    sound: Path, tmp_path_factory: pytest.TempPathFactory, at: int, mask: int
) -> None:
    image = bytearray(sound.read_bytes())
    image[at] ^= mask
    path = tmp_path_factory.getbasetemp() / "damaged.logbook"
    for leftover in path.parent.glob("damaged.logbook-*"):
        leftover.unlink()
    path.write_bytes(image)
    if not audit(path):
        assert content(path) == content(sound)


@settings(max_examples=200)
@given(data=st.data())
def test_a_damaged_file_is_refused_in_one_line_or_reads_as_it_was_written(
    data: st.DataObject, sound: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    image = bytearray(sound.read_bytes())
    for at in data.draw(st.lists(st.integers(0, len(image) - 1), min_size=1, max_size=30)):
        image[at] ^= 0xFF
    path = tmp_path_factory.getbasetemp() / "damaged.logbook"
    for leftover in path.parent.glob("damaged.logbook-*"):
        leftover.unlink()
    path.write_bytes(image)
    try:
        with Logbook.open(path, writable=False) as book:
            list(book.journal())
            book.runs()
            book.results()
            for raw_id in book.raw_ids():
                book.raw(raw_id)
    except RigError as error:
        assert "\n" not in str(error)


def content(path: Path) -> list[object]:
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as shell:
        return [shell.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES]


def test_a_damaged_name_in_the_schema_does_not_make_the_audit_crash(copy: Path) -> None:
    image = copy.read_bytes()
    assert b"REFERENCES result (" in image
    copy.write_bytes(image.replace(b"REFERENCES result (", b"REFERENCES r\xe5sult ("))
    assert "table result" in places(copy)


def test_a_text_file_is_one_finding(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear cutler, " * 100)
    (finding,) = audit(path)
    assert "is not a logbook" in finding.what


def test_an_sqlite_file_of_another_program_has_findings(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as shell:
        shell.execute("CREATE TABLE t (a)")
    (finding,) = audit(path)
    assert finding.what == "is not a logbook"


def test_a_missing_file_is_an_error_and_not_a_finding(tmp_path: Path) -> None:
    with pytest.raises(RigError, match="no such logbook"):
        audit(tmp_path / "nothing.logbook")
