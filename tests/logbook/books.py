"""Logbooks for the tests of this folder."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook

START = datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC)


class Clock:
    """A clock that a test sets; each look at it takes one millisecond."""

    def __init__(self, at: datetime = START) -> None:
        self.at = at

    def __call__(self) -> datetime:
        self.at += timedelta(milliseconds=1)
        return self.at


def small_book(path: Path) -> str:
    """Writes a logbook with something in every table; returns its head fingerprint."""
    with Logbook.create(path, title="Example bench", now=Clock()) as book:
        run = book.start_run("drop", "5eed", {"height_m": 0.25}, {"rig": "1.0"})
        for step in range(12):
            book.append("step", {"index": step, "outcome": "höhe erreicht"}, run)
        with book.transaction():
            raw = book.store_raw(run, "T1", bytes(range(256)) * 9, {"port": "stand-in"})
            first = book.store_result(run, "T1", "peak force", {"value_n": 812.5}, [raw])
        book.store_raw(run, "T2", _unpackable(9000), {})
        book.store_result(run, "T1", "peak force", {"value_n": 810.0}, [raw, 2], supersedes=first)
        book.end_run(run, "finished", "all trials done")
        book.append("note", {"text": "striker wiped"})
        return book.head_fingerprint()


def refused(path: Path, *, writable: bool = False) -> str:
    """The one line with which a file is refused; asserts that it names the file and a remedy."""
    with pytest.raises(RigError) as caught:
        Logbook.open(path, writable=writable).close()
    line = str(caught.value)
    assert "\n" not in line
    assert str(path) in line
    assert caught.value.remedy
    return line


def _unpackable(length: int) -> bytes:
    """Bytes that do not compress (a multiplicative congruence), to fill overflow pages."""
    state, out = 1, bytearray()
    while len(out) < length:
        state = state * 48271 % 2147483647
        out.append(state >> 16 & 0xFF)
    return bytes(out)
