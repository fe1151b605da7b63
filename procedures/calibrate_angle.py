"""Calibrate the angle channel against the stops of the angle plate, up and down, twice."""

from collections.abc import Mapping
from typing import Any

from procedures.lib import calibrating, checks
from rig.bench import Bench
from rig.guide.parameters import Parameter
from rig.guide.steps import Do, Procedure, Read, Tell

TITLE = "Calibration of the arm's angle"

PARAMETERS = (Parameter("operator", "text", "", "your initials; asked for when left out"),)

RUNS = 2


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided calibration. Concludes with the certificate, or the reasons for none."""
    limits = bench.pry.calibration
    yield Do(
        "Nothing seated or clamped in the arm. Fingers out of the gap between arm and stop.",
        hand="free",
        hazards=("trap",),
    )
    operator = yield from calibrating.operator(params)
    stops = sorted(limits.stops_deg)
    way = [(stop, True) for stop in stops] + [(stop, False) for stop in stops[-2::-1]]
    readings: list[dict[str, Any]] = []
    for run in range(1, RUNS + 1):
        yield Tell(f"Run {run} of {RUNS} along the stops.")
        for stop, rising in way:
            trial = f"run {run} stop {stop:g} {'rising' if rising else 'falling'}"
            step = Read(
                f"Pin at {stop:g}°. Hold the arm lightly against it, coming from the "
                f"{'left' if rising else 'right'}. Keep hold until it is read.",
                channel="angle", trial=trial, settle_s=limits.settle_s / 3, read_s=limits.read_s,
                hand="stop", detail={"angle_deg": stop}, hazards=("trap",),
                held=True,
            )  # fmt: skip
            reading = yield from checks.good_reading(step)
            if reading is None:
                return (yield from calibrating.refuse("angle", [f"{trial}: no good reading came"]))
            readings.append({"stop_deg": stop, "run": run, "rising": rising, **reading})
    yield Do("Take the pin out and let the arm back.", hand="free", hazards=("trap",))
    return (
        yield from calibrating.issue(
            "angle",
            {
                "bench": bench.name,
                "sensor": bench.pry.angle.model_dump(mode="json"),
                "calibration": limits.model_dump(mode="json"),
                "operator": operator,
                "readings": readings,
            },
        )
    )
