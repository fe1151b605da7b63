"""Rows that somebody wrote anew with something left out: one clear line, never a traceback."""

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from rig.cli.runlines import line
from rig.errors import RigError
from rig.guide.recompute import recompute
from rig.logbook import Logbook
from rig.report import page, tables
from tests.guide.rigs import VirtualRig, impact, new_book, run
from tests.logbook.test_audit import Stored, rechain

Path_ = tuple[str, ...]


@pytest.fixture(scope="module")
def dropped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One drop, as a run leaves it."""
    with new_book(tmp_path_factory.mktemp("sound")) as book:
        run(book, VirtualRig(), *impact(drops="1"))
        return book.path


def keys(body: Any, above: Path_ = ()) -> Iterator[Path_]:
    """Where a body holds anything, two keys deep."""
    if isinstance(body, dict):
        for key, value in body.items():
            yield (*above, key)
            if len(above) < 1:
                yield from keys(value, (*above, key))


def without(body: Any, at: Path_) -> Any:
    """The body with one thing left out."""
    key, *more = at
    if not more:
        return {name: value for name, value in body.items() if name != key}
    return {**body, key: without(body[key], tuple(more))}


def _runs(path: Path) -> None:
    with Logbook.open(path, writable=False) as book:
        for one in book.runs():
            line(book, one, path)


READERS: tuple[Callable[[Path], object], ...] = (
    lambda path: tables.export(path, path.parent / "tables"),
    lambda path: page.write(path, None, path.with_suffix(".html")),
    recompute,
    _runs,
)
FORGED, EVERY = 3, 5  # one in so many: each takes a tenth of a second and more


def test_a_forged_row_that_lacks_something_is_told_in_one_line(
    dropped: Path, tmp_path: Path
) -> None:
    forged, told = tmp_path / "forged.logbook", 0
    with Logbook.open(dropped, writable=False) as book:
        rows = {(row.kind, at): row.number for row in book.journal() for at in keys(row.body)}
    for turn, ((_, at), number) in enumerate(list(rows.items())[::FORGED]):
        shutil.copy(dropped, forged)

        def less(row: Stored, at: Path_ = at, number: int = number) -> Stored:
            if row.number != number:
                return row
            return row._replace(body=json.dumps(without(json.loads(row.body), at)))

        rechain(forged, less)
        for reader in (
            lambda path: page.content(path, None),
            *(READERS if turn % EVERY == 0 else ()),
        ):
            try:
                reader(forged)
            except RigError as error:
                told += 1
                assert "\n" not in str(error)
    assert len(rows) > 50  # what is left out is often not missed
    assert told >= 5
