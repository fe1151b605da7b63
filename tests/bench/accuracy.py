"""Is the uncertainty honest, and is the speed as good as the samples allow? 5,000 virtual rigs."""

from typing import Any

from tests.bench.figure import at_most, honest
from tests.measure.coverage import run

RIGS = 5_000
SEED = 29  # not the one the budgets were worked out with
COVERED = ("impact_energy", "rebound_speed", "rebound_energy", "second_strike_energy")


def figures() -> list[dict[str, Any]]:
    """Coverage of the 95 % intervals, rms speed error, its ratio to the bound, relative U."""
    told = run(RIGS, processes=2, seed=SEED)
    covered = [
        honest(
            f"95 % interval of {name.replace('_', ' ')} holds the truth, {RIGS} rigs",
            told[f"coverage {name}"],
        )
        for name in COVERED
    ]
    return [
        *covered,
        at_most("rms error of impact speed, relative", told["rms speed error"], "1", 0.0015),
        at_most("the same with the bench's scale and clock errors",
                told["rms speed error with scale and clock"], "1", 0.0015),
        at_most("rms error of impact speed over its Cramer-Rao bound",
                told["rms error / Cramer-Rao bound"], "ratio", 1.5),
        at_most("relative U of energy at 5 J, median",
                told["median relative U of energy"], "1", 0.01),
        at_most("relative U of energy at 5 J, worst",
                told["worst relative U of energy"], "1", 0.01),
        at_most("good drops called invalid (0.27 % by the gate's limit of three sigma)",
                told["with a false reason"] / RIGS, "share", 0.005),
    ]  # fmt: skip
