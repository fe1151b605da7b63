"""Every result again from raw frames: the same bytes and settings must give the same result."""

from dataclasses import dataclass
from pathlib import Path

from rig import __version__
from rig.guide import measures
from rig.guide.plain import plain
from rig.guide.runner import STEP
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
        """Alike but for the wording."""
        return all(found.words for found in self.differences)

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
    compared = []
    with Logbook.open(path, writable=False) as book:
        versions = {run.run_id: str(run.versions["bladerig"]) for run in book.runs()}
        stored = {result.result_id: result for result in book.results()}
        for row in book.journal(kind=STEP):
            step, outcome = row.body["step"], row.body["outcome"]
            if step["step"] not in ("Measure", "Read"):
                continue
            result = stored[outcome["result_id"]]
            raw = book.raw(result.raw_ids[0])[0] if result.raw_ids else b""
            settings = step.get("settings", step)  # a reading's only setting is its channel
            again = measures.compute(result.measurand, raw, settings)
            found = tuple(differences(result.result, plain(again)))
            version = versions[result.run_id]
            compared.append(Compared(result.result_id, result.trial, found, version))
    return compared
