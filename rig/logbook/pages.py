"""The rows of a table read straight from the database image, without SQLite.

SQLite passes over much that a damaged or altered file may hold: the length of a row beyond its
last column, the type noted for the primary key, a row out of order, damaged text. And it stops
where it cannot read on. This reader takes every row for itself, so that each can be named.
Layout: SQLite "Database File Format", sections 1.6 (b-tree pages), 1.5 (overflow pages) and
2.1 (record format).
"""

from collections.abc import Iterator
from mmap import mmap
from typing import NamedTuple

_INTERIOR, _LEAF = 0x05, 0x0D
_FILE_HEADER = 100
_KEY_TYPE = 0  # the primary key stands in the cell's head and as NULL in the record
_INTEGER_SIZES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
_ZERO, _ONE = 8, 9
_FIRST_BLOB_TYPE = 12
_VARINT_BYTES = 9

Field = int | str | bytes | None


class Record(NamedTuple):
    """One row: its key, and its columns with the key as the first.

    Text is UTF-8 with damaged bytes escaped, so that it hashes byte for byte.
    """

    row_id: int
    fields: tuple[Field, ...]


class BadRow(NamedTuple):
    """A row that is not as SQLite writes one, in the place where it stands."""

    why: str


class BadPage(NamedTuple):
    """A page of the table, with an unknown number of rows, that cannot be read."""

    number: int


class _BadBytes(Exception):
    """The bytes at hand make no sense."""


def rows(image: bytes | mmap, root: int, columns: int) -> Iterator[Record | BadRow | BadPage]:
    """The rows of one table in the order they stand in the file.

    Args:
        image: the whole database, as bytes or mapped.
        root: number of the table's first page, from `sqlite_schema`.
        columns: how many columns the table has.
    """
    database = _Database(image)
    waiting, seen = [root], set[int]()
    while waiting:
        number = waiting.pop()
        try:
            if number in seen:
                raise _BadBytes
            page = database.page(number)
            head = _FILE_HEADER if number == 1 else 0
            cells = _cells(page, head)
            waiting.extend(reversed(_children(page, head, cells)))
        except _BadBytes:
            yield BadPage(number)
            continue
        seen.add(number)
        for cell in cells if page[head] == _LEAF else ():
            yield database.row(page, cell, columns)


def _cells(page: bytes, head: int) -> list[int]:
    if page[head] not in (_INTERIOR, _LEAF):
        raise _BadBytes
    count = _integer(page, head + 3, 2)
    pointers = head + (12 if page[head] == _INTERIOR else 8)
    return [_integer(page, pointers + 2 * index, 2) for index in range(count)]


def _children(page: bytes, head: int, cells: list[int]) -> list[int]:
    if page[head] == _LEAF:
        return []
    return [*(_integer(page, cell, 4) for cell in cells), _integer(page, head + 8, 4)]


class _Database:
    def __init__(self, image: bytes | mmap) -> None:
        self._image = image
        size = int.from_bytes(image[16:18], "big")
        self._size = 65536 if size == 1 else size
        self._usable = self._size - int.from_bytes(image[20:21], "big")

    def page(self, number: int) -> bytes:
        start = (number - 1) * self._size
        if number < 1 or self._size < 512 or start + self._size > len(self._image):
            raise _BadBytes
        return self._image[start : start + self._size]

    def row(self, page: bytes, cell: int, columns: int) -> Record | BadRow:
        try:
            length, at = _varint(page, cell)
            row_id, at = _varint(page, at)
            types, values = _record(self._payload(page, at, length))
        except _BadBytes:
            return BadRow("its bytes are not those of a row")
        if len(types) != columns or types[0] != _KEY_TYPE:
            return BadRow("the types noted in its head were changed")
        return Record(row_id, (row_id, *values[1:]))

    def _payload(self, page: bytes, at: int, length: int) -> bytes:
        most = self._usable - 35
        if length <= most:
            return _slice(page, at, length)
        least = (self._usable - 12) * 32 // 255 - 23
        local = least + (length - least) % (self._usable - 4)
        local = local if local <= most else least
        if length > len(self._image):
            raise _BadBytes
        parts, following = [_slice(page, at, local)], _integer(page, at + local, 4)
        left = length - local
        while left:
            page = self.page(following)
            take = min(left, self._usable - 4)
            parts.append(page[4 : 4 + take])
            following, left = _integer(page, 0, 4), left - take
        if following:
            raise _BadBytes
        return b"".join(parts)


def _record(payload: bytes) -> tuple[list[int], list[Field]]:
    """The types and values of a record, which must fill its payload exactly."""
    header, at = _varint(payload, 0)
    types = []
    while at < header:
        kind, at = _varint(payload, at)
        types.append(kind)
    if at != header or not types:
        raise _BadBytes
    values = []
    for kind in types:
        value, at = _value(payload, at, kind)
        values.append(value)
    if at != len(payload):
        raise _BadBytes
    return types, values


def _value(payload: bytes, at: int, kind: int) -> tuple[Field, int]:
    if kind == 0:
        return None, at
    if kind in (_ZERO, _ONE):
        return kind - _ZERO, at
    if kind in _INTEGER_SIZES:
        size = _INTEGER_SIZES[kind]
        return int.from_bytes(_slice(payload, at, size), "big", signed=True), at + size
    if kind < _FIRST_BLOB_TYPE:  # a float, or a type kept for SQLite's own use
        raise _BadBytes
    size = (kind - _FIRST_BLOB_TYPE) // 2
    data = _slice(payload, at, size)
    return (str(data, "utf-8", "surrogateescape") if kind % 2 else data), at + size


def _slice(data: bytes, at: int, length: int) -> bytes:
    if at + length > len(data):
        raise _BadBytes
    return data[at : at + length]


def _integer(data: bytes, at: int, width: int) -> int:
    return int.from_bytes(_slice(data, at, width), "big")


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A variable-length integer and the place after it (file format, section 1.6)."""
    value = 0
    for index, byte in enumerate(data[at : at + _VARINT_BYTES], start=1):
        if index == _VARINT_BYTES:
            return (value << 8) | byte, at + index
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, at + index
    raise _BadBytes
