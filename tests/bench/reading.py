"""Does every sentence agree with its figures? Studies drawn at random, read at their word."""

import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from rig.report.studyfacts import blades
from tests.bench.figure import exactly
from tests.study.drawnstudies import answered
from tests.study.reader import contradictions, finer_than_u

STUDIES = 500
SEED = 87


def read(study: int) -> tuple[int, list[str]]:
    """How many comparisons one study makes, and what in them does not agree."""
    found, said = list[str](), 0
    with tempfile.TemporaryDirectory() as folder:
        for one in answered(np.random.default_rng([SEED, study]), Path(folder) / "s.logbook"):
            told = one.to_dict()
            found += contradictions(told, told["comparisons"])
            found += finer_than_u(row["value"] for row in blades(one))
            said += len(told["comparisons"])
    return said, found


def figures() -> list[dict[str, Any]]:
    """Sentences that say what their figures do not."""
    with ProcessPoolExecutor(2) as pool:
        told = list(pool.map(read, range(STUDIES), chunksize=10))
    found = [fault for _, faults in told for fault in faults]
    first = f" (first: {found[0]})" if found else ""
    name = (
        f"sentences of {STUDIES} studies of values, survivors and edge lives, "
        f"{sum(said for said, _ in told):,} comparisons, against their figures"
    )
    return [exactly(f"{name}{first}", len(found), "count", 0)]
