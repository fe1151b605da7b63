"""Every result again from raw frames: the same bytes and settings must give the same result."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig import __version__
from rig.errors import RigError
from rig.guide import kinds
from rig.guide.steps import plain
from rig.logbook.journal import STEP
from rig.logbook.records import StoredResult
from rig.logbook.store import Logbook
from rig.measure.same import Difference, differences


@dataclass(frozen=True)
class Compared:
    """One stored result beside its recomputation.

    Attributes:
        differences: where the two are not the same (`rig.measure.same`).
        version: of the program that stored it.
    """

    result_id: int
    trial: str
    differences: tuple[Difference, ...]
    version: str

    @property
    def same(self) -> bool:
        """Alike but for the wording, which only another release may change."""
        reworded = self.version != __version__
        return all(found.words and reworded for found in self.differences)

    @property
    def reworded(self) -> bool:
        """Alike, said in other words."""
        return self.same and bool(self.differences)

    @property
    def by(self) -> str:
        """Which programs computed the two."""
        if self.version == __version__:
            return f"by version {self.version} as now"
        return f"by version {self.version}, now by {__version__}"


def recompute(path: Path) -> list[Compared]:
    """Compare all results of a logbook.

    Raises:
        RigError: the logbook cannot be read, or a raw row was changed.
    """
    compared: dict[int, Compared] = {}
    with Logbook.open(path, writable=False) as book:
        versions = {run.run_id: str(run.versions["bladerig"]) for run in book.runs()}
        stored = {result.result_id: result for result in book.results()}
        # A step whose outcome was kept when an answer changed stands twice, its result once.
        for row in book.journal(kind=STEP, whole=True):
            step, number = row.body["step"], row.body["outcome"].get("result_id")
            if step["step"] not in ("Measure", "Read") or number in compared:
                continue
            result = stored.get(number)
            if result is None:
                found = [Difference(f"journal row {row.number} names a result that is not there")]
                compared[-row.number] = Compared(0, str(step.get("trial", "")), (*found,), "?")
                continue
            raw = book.raw(result.raw_ids[0])[0] if result.raw_ids else b""
            settings = step.get("settings", step)  # a reading's only setting is its channel
            compared[number] = _compared(result, _differences(result, raw, settings), versions)
        for number in stored.keys() - compared.keys():
            found = [Difference("no step of a run computed it")]
            compared[number] = _compared(stored[number], found, versions)
    return list(compared.values())


def _compared(
    result: StoredResult, found: Sequence[Difference], versions: Mapping[int, str]
) -> Compared:
    return Compared(result.result_id, result.trial, (*found,), versions[result.run_id])


def _differences(result: StoredResult, raw: bytes, settings: dict[str, Any]) -> list[Difference]:
    """Where a result and its recomputation differ; one that cannot be made is a difference."""
    try:
        return differences(result.result, plain(kinds.compute(result.measurand, raw, settings)))
    except (RigError, KeyError, TypeError, ValueError, AttributeError) as error:
        return [Difference(f"cannot be computed from what its step holds ({error!r:.80})")]
