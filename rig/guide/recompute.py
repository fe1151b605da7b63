"""Every result again from raw frames: the same bytes and settings must give the same result."""

from dataclasses import dataclass
from pathlib import Path

from rig.guide import measures
from rig.guide.runner import STEP
from rig.logbook.store import Logbook


@dataclass(frozen=True)
class Compared:
    """One stored result beside its recomputation."""

    result_id: int
    trial: str
    same: bool


def recompute(path: Path) -> list[Compared]:
    """Compare all results of a logbook.

    Raises:
        RigError: the logbook cannot be read, or a raw row was changed.
    """
    compared = []
    with Logbook.open(path, writable=False) as book:
        stored = {result.result_id: result for result in book.results()}
        for row in book.journal(kind=STEP):
            step, outcome = row.body["step"], row.body["outcome"]
            if step["step"] != "Measure":
                continue
            raw, _ = book.raw(step["raw_id"])
            result = stored[outcome["result_id"]]
            again = measures.compute(step["measurand"], raw, step["settings"])
            compared.append(Compared(result.result_id, result.trial, again == result.result))
    return compared
