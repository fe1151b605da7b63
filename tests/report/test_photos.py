"""A photograph is on the page while its file is there and the same; else the page says so."""

import base64
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from rig.report import photos
from rig.report.page import content, write
from tests.guide.jigs import TIPS, JigRig
from tests.report.text import words

PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNk+A8AAQUBAScY42YAAAAASUVORK5CYII="
)
"""One point, as PNG."""


@dataclass
class Pried:
    """A pry's logbook and the photograph that it recorded."""

    logbook: Path
    photo: Path


@pytest.fixture(scope="module")
def pried(tmp_path_factory: pytest.TempPathFactory) -> Pried:
    folder = tmp_path_factory.mktemp("photo")
    photo = folder / "tip.png"
    photo.write_bytes(PICTURE)
    path, _ = JigRig(TIPS["snap"]).run(
        folder, "pry_to_failure", {"photo": [str(photo)]}, photo="yes"
    )
    return Pried(path, photo)


@pytest.fixture(autouse=True)
def _as_it_was(pried: Pried) -> Iterator[None]:
    yield
    pried.photo.write_bytes(PICTURE)


def page(pried: Pried) -> str:
    return write(pried.logbook, None, None).read_text(encoding="utf-8")


def test_the_picture_its_path_and_hash_are_on_the_page(pried: Pried) -> None:
    assert f"data:image/png;base64,{base64.b64encode(PICTURE).decode()}" in page(pried)
    said = words(pried.logbook)
    assert f"K3 in hardwood: {pried.photo}, SHA-256" in said
    assert hashlib.sha256(PICTURE).hexdigest()[:12] in said and "unchanged since" in said


def test_another_picture_in_its_place_is_never_shown(pried: Pried) -> None:
    pried.photo.write_bytes(PICTURE + b"x")
    assert "data:image/png" not in page(pried)
    assert "is another one, or was changed: it is not shown" in words(pried.logbook)


def test_a_picture_that_is_gone_is_told(pried: Pried) -> None:
    pried.photo.unlink()
    assert "The file is not there any more" in words(pried.logbook)
    (told,) = json.loads(json.dumps(content(pried.logbook, None)["photographs"]))
    assert told["sha256"] == hashlib.sha256(PICTURE).hexdigest()


def test_a_large_picture_is_linked(pried: Pried, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "LARGEST", len(PICTURE) - 1)
    text = page(pried)
    assert "data:image/png" not in text and f'href="{pried.photo.as_uri()}"' in text
