"""Two hundred kills at random instants of a run: nothing acknowledged may be lost."""

import tempfile
from pathlib import Path
from typing import Any

from tests.bench.figure import exactly, figure
from tests.guide.killable import killed_runs

KILLS = 200


def figures() -> list[dict[str, Any]]:
    """Kills, acknowledged rows lost, runs not resumed to their end, logbooks not sound."""
    with tempfile.TemporaryDirectory() as folder:
        tally = killed_runs(KILLS, Path(folder), seed=11)
    return [
        figure("kills at random instants of a run", tally.kills, "kills", ">= 200",
               tally.kills >= KILLS),
        exactly(f"acknowledged rows lost of {tally.seen}", tally.lost, "rows", 0),
        exactly(f"runs not resumed to their end of {tally.runs}", tally.unfinished, "runs", 0),
        exactly("logbooks that do not audit clean", tally.unsound, "logbooks", 0),
    ]  # fmt: skip
