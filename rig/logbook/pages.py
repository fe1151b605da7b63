"""Bytes of a stored row that SQLite never looks at, read straight from the database image.

SQLite ignores the length of a row beyond its last column and the type it notes for the primary
key; a change there alters nothing a reader sees, but the audit shall name the row all the same.
Layout: SQLite "Database File Format", sections 1.6 (b-tree pages) and 2.1 (record format).
"""

from collections.abc import Iterator
from typing import NamedTuple

_INTERIOR, _LEAF = 0x05, 0x0D
_FILE_HEADER = 100
_KEY_TYPE = 0  # a primary key stands in the cell's head and as NULL in the record
_RESERVED_TYPES = (10, 11)
_INTEGER_SIZES = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0, 0, 0)
_VARINT_BYTES = 9


class OddRecord(NamedTuple):
    """A row whose bytes are not as SQLite writes them."""

    row_id: int
    what: str


def odd_records(image: bytes, root: int) -> Iterator[OddRecord]:
    """Rows of one table whose record is not well formed.

    Pages that make no sense are passed over: SQLite's own check reports those.

    Args:
        image: the whole database as bytes.
        root: number of the table's first page, from `sqlite_schema`.
    """
    size = int.from_bytes(image[16:18], "big")
    size = 65536 if size == 1 else size
    waiting, seen = [root], set[int]()
    while waiting:
        number = waiting.pop()
        start = (number - 1) * size
        if number in seen or number < 1 or start + size > len(image):
            continue
        seen.add(number)
        page = image[start : start + size]
        try:
            waiting.extend(_children(page, _FILE_HEADER if number == 1 else 0))
            yield from _odd_on(page, _FILE_HEADER if number == 1 else 0)
        except IndexError:
            continue


def _cells(page: bytes, head: int, pointers: int) -> Iterator[int]:
    count = _integer(page, head + 3, 2)
    for index in range(count):
        yield _integer(page, pointers + 2 * index, 2)


def _children(page: bytes, head: int) -> list[int]:
    if page[head] != _INTERIOR:
        return []
    below = [_integer(page, cell, 4) for cell in _cells(page, head, head + 12)]
    return [*below, _integer(page, head + 8, 4)]


def _odd_on(page: bytes, head: int) -> Iterator[OddRecord]:
    if page[head] != _LEAF:
        return
    for cell in _cells(page, head, head + 8):
        length, at = _varint(page, cell)
        row_id, at = _varint(page, at)
        what = _oddity(page, at, length)
        if what:
            yield OddRecord(row_id, what)


def _oddity(page: bytes, start: int, length: int) -> str:
    header, at = _varint(page, start)
    types = []
    while at < start + header:
        kind, at = _varint(page, at)
        types.append(kind)
    if types[0] != _KEY_TYPE or any(kind in _RESERVED_TYPES for kind in types):
        return "the types noted in its head were changed"
    written = header + sum(map(_size, types))
    return "" if written == length else f"its length is noted as {length}, it has {written} bytes"


def _size(kind: int) -> int:
    return _INTEGER_SIZES[kind] if kind < len(_INTEGER_SIZES) else (kind - 12) // 2


def _integer(page: bytes, at: int, width: int) -> int:
    if at + width > len(page):
        raise IndexError(at)
    return int.from_bytes(page[at : at + width], "big")


def _varint(page: bytes, at: int) -> tuple[int, int]:
    """A variable-length integer and the place after it (file format, section 1.6)."""
    value = 0
    for index in range(_VARINT_BYTES):
        byte = page[at + index]
        if index == _VARINT_BYTES - 1:
            return (value << 8) | byte, at + _VARINT_BYTES
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + index + 1
    raise AssertionError("unreachable")
