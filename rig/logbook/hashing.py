"""Canonical JSON and the hashes that hold a logbook together.

Hash: SHA-256 (FIPS 180-4), from the standard library.
"""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import TypeAlias

JSON: TypeAlias = "bool | int | float | str | Sequence[JSON] | Mapping[str, JSON] | None"

GENESIS_PREVIOUS = bytes(32)
"""What the first journal row has in place of the hash of the row before it."""

_FINGERPRINT_DIGITS = 16


def canonical(value: JSON) -> str:
    """The one JSON text of a value: ASCII, sorted keys, no blanks, floats by repr.

    Raises:
        ValueError: a number is not finite; the message names its place in the value.
        TypeError: something has no JSON form (also a key that is not text).
    """
    return _dump(_plain(value, "body"))


def sha256(data: bytes) -> str:
    """SHA-256 of bytes as 64 hex digits."""
    return hashlib.sha256(data).hexdigest()


def content_hash(*fields: int | str | None) -> str:
    """SHA-256, in hex, of the columns of one row of a content table in their stored form."""
    return sha256(_dump(fields).encode("ascii"))


def row_hash(
    previous: bytes, number: int, at_utc: str, run_id: int | None, kind: str, body: str
) -> bytes:
    """Hash of one journal row: SHA-256 over the previous hash, the row's head and its body.

    The head is a JSON list on a line of its own, so no two rows give the same bytes.
    """
    head = _dump((number, at_utc, run_id, kind)).encode("ascii")
    # surrogateescape: the audit hashes damaged text too, byte for byte.
    text = body.encode("utf-8", "surrogateescape")
    return hashlib.sha256(previous + head + b"\n" + text).digest()


def fingerprint(number: int, digest: bytes) -> str:
    """A journal row and the start of its hash in a form to print, such as `42-9f86-d081-...`."""
    digits = digest.hex()[:_FINGERPRINT_DIGITS]
    return "-".join([str(number), *(digits[i : i + 4] for i in range(0, len(digits), 4))])


def _dump(value: object) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _plain(value: object, place: str) -> object:
    """Copies a value into plain JSON types, refusing what JSON would change or lose."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{place}: {value} is not a number a logbook can keep")
        return value
    if isinstance(value, Mapping):
        return {_key(key, place): _plain(item, f"{place}.{key}") for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray | memoryview):
        return [_plain(item, f"{place}[{index}]") for index, item in enumerate(value)]
    raise TypeError(f"{place}: {type(value).__name__} has no JSON form")


def _key(key: object, place: str) -> str:
    if not isinstance(key, str):
        raise TypeError(f"{place}: key {key!r} is not text")
    return key
