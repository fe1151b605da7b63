"""The side file `-wal` of a logbook, and whether a logbook may be without it.

While a program writes, and after one was killed, the newest rows stand in the side file beside the
logbook. Without it they are gone, and the chain that is left is sound. So the first row that a
program writes says "opened" and is put into the logbook itself at once, and the last says "closed":
a logbook that was opened last is whole only together with its side file.
"""

from pathlib import Path
from typing import Literal

HEADER_BYTES, _FRAME_HEAD, _MAGIC = 32, 24, 0x377F0682  # SQLite file format, section 4.1
_VERSIONS_AT, _WRITE_AHEAD = 18, b"\x02\x02"  # section 1.3: file format versions, 2 is WAL

WITH, WITHOUT = "with its side file", "without its side file"
"""How a logbook that was not closed was found by the next writer."""


def side_file(logbook: Path) -> Path:
    """The side file's name."""
    return logbook.with_name(logbook.name + "-wal")


def holds_rows(logbook: Path) -> bool:
    """Whether the side file is there with its head as SQLite writes it and room for a frame.

    It never shrinks while it is in use, and a writer killed while it begins anew has all its rows
    in the logbook. Later frames that were cut off or spoilt do not show here.
    """
    try:
        with side_file(logbook).open("rb") as file:
            head = file.read(HEADER_BYTES)
            size = file.seek(0, 2)
    except OSError:
        return False
    magic, page = int.from_bytes(head[:4], "big"), int.from_bytes(head[8:12], "big")
    if magic & ~1 != _MAGIC or size < HEADER_BYTES + _FRAME_HEAD + page:
        return False
    order: Literal["big", "little"] = "big" if magic & 1 else "little"
    return _checksum(head[:24], order) == _pair(head[24:])


def _pair(data: bytes) -> tuple[int, int]:
    return int.from_bytes(data[:4], "big"), int.from_bytes(data[4:8], "big")


def _checksum(data: bytes, order: Literal["big", "little"]) -> tuple[int, int]:
    """Section 4.2: two sums over pairs of 32-bit words, each taking in the other."""
    s0 = s1 = 0
    for at in range(0, len(data), 8):
        s0 = (s0 + int.from_bytes(data[at : at + 4], order) + s1) & 0xFFFFFFFF
        s1 = (s1 + int.from_bytes(data[at + 4 : at + 8], order) + s0) & 0xFFFFFFFF
    return s0, s1


def needs(logbook: Path) -> bool:
    """Whether the logbook was last written with a side file.

    One on a file system that cannot share memory never has one.
    """
    try:
        with logbook.open("rb") as file:
            return file.read(_VERSIONS_AT + 2)[_VERSIONS_AT:] == _WRITE_AHEAD
    except OSError:
        return False


def lacks(logbook: Path) -> bool:
    """Whether a side file that may hold rows is not there."""
    return needs(logbook) and not holds_rows(logbook)
