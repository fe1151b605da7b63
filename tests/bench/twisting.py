"""A twist on thousands of virtual rigs, each calibrated: honest intervals."""

from typing import Any

from tests.bench.figure import honest
from tests.measure.twistcoverage import COVERED, run

RIGS = 5_000
SEED = 31  # not one the budgets were worked out with


def figures() -> list[dict[str, Any]]:
    """Coverage of every value that a study may compare."""
    told = run(RIGS, processes=2, seed=SEED)
    return [
        honest(
            f"95 % interval of the twist's {name.replace('_', ' ')} holds the truth,"
            f" {told[f'count {name}']:.0f} of {RIGS} rigs",
            told[f"coverage {name}"],
        )
        for name in COVERED
    ]
