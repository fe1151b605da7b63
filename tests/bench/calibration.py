"""Are certificates honest? 3,000 virtual jigs calibrated, then read at torques in their range."""

from typing import Any

from tests.bench.figure import at_most, figure
from tests.calibration.coverage import run

RIGS = 3_000
FIRST = 50_000  # not the jigs that the parts were worked out with


def figures() -> list[dict[str, Any]]:
    """Coverage of the 95 % interval of a torque, over all and by thirds of the range."""
    told = run(RIGS, FIRST)
    thirds = {1: "lower", 2: "middle", 3: "upper"}
    covered = told["coverage"]
    return [
        figure(f"95 % interval of a calibrated torque holds the truth, {RIGS} jigs", covered,
               "share", "0.93 to 0.97", 0.93 <= covered <= 0.97),
        *(
            figure(f"the same in the {name} third of the range", told[f"coverage third {n}"],
                   "share", ">= 0.93", told[f"coverage third {n}"] >= 0.93)
            for n, name in thirds.items()
        ),
        at_most("relative U of a calibrated torque, median", told["median relative U"], "1", 0.002),
        at_most("good calibrations that were refused", told["refused"] / RIGS, "share", 0.005),
    ]  # fmt: skip
