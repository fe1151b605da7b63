"""Photographs that a run recorded: shown while the file is there and still the same."""

import base64
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.guide.answers import NO_FILE
from rig.guide.verdict import KIND, read
from rig.logbook.journal import STEP
from rig.logbook.records import Row

LARGEST = 3_000_000  # bytes put into a page; a larger picture is linked
SHOWN_DIGITS = 12
PICTURES = (
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"GIF8", "image/gif"),
)
"""How files begin that every browser shows, and what each is."""


@dataclass(frozen=True)
class Photo:
    """One photograph.

    Attributes:
        of: the trial, else the question that was answered with it.
        path: as it was typed.
        sha256: of the file when it was recorded; "" in a record of an early version.
        told: what became of the file, in a plain sentence.
        address: the picture as a data address; "" when it is not shown.
        link: to the file; "" when it is shown, gone or another.
    """

    of: str
    path: str
    sha256: str
    told: str
    address: str = ""
    link: str = ""

    @property
    def short(self) -> str:
        """The first characters of the hash."""
        return self.sha256[:SHOWN_DIGITS] or "none on record"


def recorded(rows: Sequence[Row], logbook: Path) -> list[Photo]:
    """The photographs of a run in the order recorded, each file looked for now.

    A path is looked for as it was typed, then beside the logbook.
    """
    named = {(path, digest): of for of, path, digest in _noted(rows)}
    for of, path, digest in _asked(rows):
        named.setdefault((path, digest), of)
    return [_looked_for(of, path, digest, logbook.parent) for (path, digest), of in named.items()]


def _noted(rows: Sequence[Row]) -> Iterator[tuple[str, str, str]]:
    """By the notes and verdicts of trials."""
    for row in rows:
        noted = read(row.body).details if row.kind == KIND else row.body
        path = noted.get("photo")
        if row.kind != STEP and isinstance(path, str) and path not in ("", NO_FILE):
            yield str(row.body.get("trial", "")), path, str(noted.get("photo_sha256") or "")


def _asked(rows: Sequence[Row]) -> Iterator[tuple[str, str, str]]:
    """By the answers alone: a run may have stopped before its note."""
    for row in rows:
        step: dict[str, Any] = row.body["step"] if row.kind == STEP else {}
        if step.get("step") == "Ask" and step["kind"] == "file":
            outcome = row.body["outcome"]
            if outcome["value"] != NO_FILE:
                yield step["text"], outcome["value"], outcome["sha256"]


def _looked_for(of: str, path: str, digest: str, beside: Path) -> Photo:
    if not digest:
        return Photo(of, path, digest, "No hash was recorded, so nothing can show that a file "
                     "there is the same.")  # fmt: skip
    changed = False
    for place in dict.fromkeys((_file(Path(path)), _file(beside / path))):
        found = None if place is None else _bytes(place)
        if place is None or found is None:
            continue
        if hashlib.sha256(found).hexdigest() == digest:
            return _same(of, path, digest, place, found)
        changed = True
    if changed:
        told = "The file there now is another one, or was changed: it is not shown."
    else:
        told = "The file is not there any more, or cannot be read."
    return Photo(of, path, digest, told)


def _file(path: Path) -> Path | None:
    try:
        full = path.expanduser()
        return full.resolve() if full.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def _same(of: str, path: str, digest: str, place: Path, found: bytes) -> Photo:
    """Shown in the page, or linked when it is too large or no picture that browsers show."""
    kind = next((kind for start, kind in PICTURES if found.startswith(start)), "")
    told = "The file is unchanged since it was recorded"
    if kind and len(found) <= LARGEST:
        address = f"data:{kind};base64,{base64.b64encode(found).decode()}"
        return Photo(of, path, digest, f"{told}.", address)
    why = "too large to be put into this page" if kind else "not of a kind that this page can show"
    return Photo(of, path, digest, f"{told}; it is {why}.", link=place.as_uri())
