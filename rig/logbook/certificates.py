"""Certificates in a logbook: calibrations note them, trials look for the newest."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rig.bench import Bench
from rig.calibration.certificate import NOTE, Certificate, issued, newest
from rig.logbook.records import PRACTICE
from rig.logbook.store import Logbook

FILE = Path("calibration.logbook")


def beside(bench_file: Path | None) -> Path:
    """Where a bench keeps its calibrations unless told otherwise: beside its file, or here."""
    return FILE if bench_file is None else bench_file.with_name(FILE.name)


def certificates(path: Path) -> list[Certificate]:
    """All certificates of a logbook in the order they were made; none when there is no file.

    Raises:
        RigError: the file is there and cannot be read.
    """
    if not path.exists():
        return []
    with Logbook.open(path, writable=False) as book:
        return [*in_book(book)]


def in_book(book: Logbook) -> Iterator[Certificate]:
    """The certificates of an open logbook."""
    devices = {run.run_id: str(run.versions.get("device", "")) for run in book.runs()}
    for row in book.journal(kind=NOTE):
        run_id = row.run_id or 0
        yield issued(row.body, row.at_utc, run_id, book.path.name, devices.get(run_id, ""))


def find(paths: Sequence[Path], bench: Bench, *, virtual: bool = False) -> dict[str, Certificate]:
    """For each channel the newest certificate of several logbooks that suits this bench.

    Practice on the virtual rig gives none to a real bench, nor the other way round. Whether a
    certificate holds is for `rig.calibration.certificate.standing` to say.

    Raises:
        RigError: a file is there and cannot be read.
    """
    every = [one for path in paths for one in certificates(path)]
    own = [one for one in every if (one.device in PRACTICE) is virtual]
    return newest(sorted(own, key=lambda one: one.made), bench)
