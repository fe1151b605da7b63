"""What the coverage tests of pry and twist share: hands, certificates, records, scores."""

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import fmean, median
from typing import Any, TypeVar

import numpy as np

from rig.board.wire import TICK_HZ
from rig.calibration import angle, load
from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.motion import U_DELAY
from rig.measure.budget import Input
from rig.measure.result import Result
from rig.measure.scales import Scale
from rig.virtual.arm.trail import sensed
from rig.virtual.arm.truth import HandTruth, JigTruth
from rig.virtual.board import angle_channel
from tests.calibration.coverage import BENCH, Lab, calibration
from tests.virtual.jigtrace import JigSamples

SUMS_READ = 250  # two seconds
REST_TICKS = TICK_HZ  # of the calm before and after, a second
CLOCK_LIMIT = 0.005
Samples = TypeVar("Samples", bound=JigSamples)


def hand(rng: random.Random) -> HandTruth:
    """Somebody's hand."""
    return HandTruth(
        stiffness_nm_per_rad=rng.uniform(30, 80),
        damping=rng.uniform(0.3, 0.8),
        tremor_rad=math.radians(rng.uniform(0.0, 0.02)),
        tremor_hz=rng.uniform(8, 12),
        rate_wobble=rng.uniform(0.05, 0.25),
        reaction_s=rng.uniform(0.15, 0.3),
    )


def torque_scale(lab: Lab) -> Scale:
    """What the lab's dead weights say of its cell."""
    told = load.calibrate(calibration(lab))
    return Scale.from_dict(told["certificate"]["curve"])


def angle_scale(truth: JigTruth, rng: random.Random) -> Scale:
    """What known stops say of the angle sensor."""
    noise = np.random.default_rng(rng.getrandbits(32))
    readings = []
    for run in (1, 2):
        stops = BENCH.pry.calibration.stops_deg
        for rising, order in ((True, stops), (False, stops[::-1])):
            for stop in order:
                at = math.radians(stop) + truth.stop_error_rad
                ratio = sensed(truth.sensor, np.full((SUMS_READ // 10, 8), at))
                sums = angle_channel.sums(ratio, truth.sensor.noise_lsb, noise)
                readings.append({"stop_deg": stop, "run": run, "rising": rising,
                                 "mean": float(sums.mean()), "sd": float(sums.std(ddof=1)),
                                 "reasons": []})  # fmt: skip
    told = angle.calibrate({
        "bench": BENCH.name,
        "sensor": BENCH.pry.angle.model_dump(),
        "calibration": BENCH.pry.calibration.model_dump(),
        "operator": "AB",
        "readings": readings,
    })  # fmt: skip
    return Scale.from_dict(told["certificate"]["curve"])


def late(samples: Samples, rng: random.Random) -> Samples:
    """The same with the filter's delay of this converter, which no data sheet states."""
    period = float(np.median(np.diff(samples.load_ticks)))
    by = round(rng.gauss(0.0, U_DELAY * period))
    return replace(samples, load_ticks=samples.load_ticks + by)


def cut(samples: JigSamples, first: int, last: int) -> tuple[np.ndarray, ...]:
    """Load ticks and codes, angle ticks and sums from tick `first` to tick `last`."""
    loads = (samples.load_ticks >= first) & (samples.load_ticks <= last)
    turns = (samples.angle_ticks >= first) & (samples.angle_ticks <= last)
    return (samples.load_ticks[loads], samples.load_codes[loads],
            samples.angle_ticks[turns], samples.angle_sums[turns])  # fmt: skip


def zero(samples: JigSamples, first: int, last: int, name: str = "zero") -> Input:
    """Zero code of a calm stretch."""
    codes = cut(samples, first, last)[1].astype(float)
    u = float(codes.std(ddof=1)) * math.sqrt(4 / len(codes))
    return Input(name, float(codes.mean()), u, max(1.0, len(codes) / 4 - 1), "", "code")


def sweep_record(samples: JigSamples) -> ArmRecord:
    """The bare arm's sweep."""
    first, last = samples.marks["sweep"]
    return ArmRecord(*cut(samples, first, last), zero=zero(samples, first - REST_TICKS // 2, first))


def scores(true: Mapping[str, float], result: Result) -> dict[str, float]:
    """Hits (1 or 0), errors over u, relative U of every measurand whose truth is known."""
    told = {}
    for name, value in true.items():
        if name in result.measurands:
            made = result[name]
            told[f"hit {name}"] = float(abs(made.value - value) <= made.U)
            told[f"z {name}"] = (made.value - value) / made.u
            told[f"relative U {name}"] = made.U / abs(made.value)
    return told


def shares(rigs: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    """Coverage, mean and rms of z, median relative U over many rigs' scores."""
    out: dict[str, float] = {"rigs": len(rigs)}
    for name in sorted({n[4:] for told in rigs for n in told if n.startswith("hit ")}):
        hits, z, relative = (
            [told[f"{what} {name}"] for told in rigs if f"{what} {name}" in told]
            for what in ("hit", "z", "relative U")
        )
        out[f"count {name}"] = len(hits)
        out[f"coverage {name}"] = fmean(hits)
        out[f"mean z {name}"] = fmean(z)
        out[f"rms z {name}"] = math.sqrt(fmean(one * one for one in z))
        out[f"median relative U {name}"] = median(relative)
    return out
