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
            if step["step"] not in ("Measure", "Read"):
                continue
            result = stored[outcome["result_id"]]
            raw = book.raw(result.raw_ids[0])[0] if result.raw_ids else b""
            settings = step.get("settings", step)  # a reading's only setting is its channel
            again = measures.compute(result.measurand, raw, settings)
            compared.append(Compared(result.result_id, result.trial, again == result.result))
    return compared
