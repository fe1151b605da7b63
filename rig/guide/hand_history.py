"""What was done by hand in a run that goes on: a virtual rig made anew is brought to it."""

from collections.abc import Mapping, Sequence
from typing import Any

from rig.guide.device import Deed
from rig.guide.stretch import TALLY
from rig.guide.tally import Tally
from rig.logbook.store import Logbook


def deeds(book: Logbook, run_id: int, done: Sequence[Mapping[str, Any]]) -> list[Deed]:
    """The hands' words of the steps done, in order, with the strokes that were counted.

    A stretch that was broken off is told by its last tally.
    """
    told = []
    for row in done:
        step, outcome = row["step"], row["outcome"]
        if step.get("hand"):
            detail = step.get("detail", {})
            told.append(Deed(step["hand"], detail, outcome.get("counted", detail.get("count", 0))))
        if step.get("after_hand"):
            told.append(Deed(step["after_hand"], {}))
        struck = outcome.get("measurands", {}).get("impact_energy")
        if struck:
            told.append(Deed("struck", {"energy_j": struck["value"]}))
    broken = [row.body for row in book.journal(run_id, TALLY) if row.body["index"] == len(done)]
    if broken:
        told.append(Deed("strokes", {}, Tally.from_dict(broken[-1]["tally"]).counted))
    return told
