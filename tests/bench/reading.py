"""Does every sentence agree with its figures? Studies drawn at random, read at their word."""

import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.figure import exactly
from tests.study.drawnstudies import answered
from tests.study.reader import contradictions

STUDIES = 500
SEED = 87


def figures() -> list[dict[str, Any]]:
    """Sentences that say what their figures do not."""
    rng, found, said = np.random.default_rng(SEED), list[str](), 0
    with tempfile.TemporaryDirectory() as folder:
        for i in range(STUDIES):
            path = Path(folder) / f"{i}.logbook"
            for one in answered(rng, path):
                told = one.to_dict()
                found += contradictions(told, told["comparisons"])
                said += len(told["comparisons"])
            path.unlink()
    first = f" (first: {found[0]})" if found else ""
    name = f"sentences of {STUDIES} studies of values, {said:,} comparisons, against their figures"
    return [exactly(f"{name}{first}", len(found), "count", 0)]
