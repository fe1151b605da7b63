"""The side file `-wal` of a logbook, and whether a logbook may be without it.

While a program writes, and after one was killed, the newest rows stand in the side file beside the
logbook. Without it they are gone, and the chain that is left is sound. So the first row that a
program writes says "opened" and is put into the logbook itself at once, and the last says "closed":
a logbook that was opened last is whole only together with its side file.
"""

from pathlib import Path

HEADER_BYTES, FRAME_BYTES = 32, 24 + 512  # SQLite file format, section 4.1: at least one frame
_VERSIONS_AT, _WRITE_AHEAD = 18, b"\x02\x02"  # section 1.3: file format versions, 2 is WAL

WITH, WITHOUT = "with its side file", "without its side file"
"""How a logbook that was not closed was found by the next writer."""


def side_file(logbook: Path) -> Path:
    """The side file's name."""
    return logbook.with_name(logbook.name + "-wal")


def holds_rows(logbook: Path) -> bool:
    """Whether the side file is there and not empty."""
    try:
        return side_file(logbook).stat().st_size >= HEADER_BYTES + FRAME_BYTES
    except OSError:
        return False


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
