"""Certificates in a logbook: calibrations note them, trials look for the newest."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rig.bench import Bench
from rig.calibration.certificate import NOTE, Certificate, issued, newest
from rig.logbook.store import Logbook


def certificates(path: Path) -> list[Certificate]:
    """All certificates of a logbook in the order they were made; none when there is no file.

    Raises:
        RigError: the file is there and cannot be read.
    """
    if not path.exists():
        return []
    with Logbook.open(path, writable=False) as book:
        return [*_in(book)]


def _in(book: Logbook) -> Iterator[Certificate]:
    for row in book.journal(kind=NOTE):
        yield issued(row.body, row.at_utc, row.run_id or 0, book.path.name)


def find(paths: Sequence[Path], bench: Bench) -> dict[str, Certificate]:
    """For each channel the newest certificate of several logbooks that suits this bench.

    Whether it holds is for `rig.calibration.certificate.standing` to say.

    Raises:
        RigError: a file is there and cannot be read.
    """
    every = [one for path in paths for one in certificates(path)]
    return newest(sorted(every, key=lambda one: one.made), bench)
