"""The arm against known stops -> the angle channel's certificate in radians.

Angle is fitted on the sum of conversions with a constant (the sensor's sum at the zero mark), a
straight line or a quadratic by the rule of `rig.calibration.curve`. How far the stops' means lie
off the curve is the sensor's own unevenness and the stops' errors together; one error that all
stops share (the plate turned against the zero mark) is added once more.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from rig.bench import AngleSensor, JigCalibration
from rig.calibration.components import Part, Readings, taken_apart, together
from rig.calibration.curve import choose
from rig.calibration.nominal import LARGEST_SUM
from rig.calibration.results import finite, refused
from rig.measure.budget import Reason, evaluate, to_dict
from rig.measure.scales import Scale

UNIT = "rad"
RUNS, STOPS = 2, 4
MATTERS = 2e-4
END_SHARE = 0.02
"""A sensor this near to its supply's ends reads no angle any more."""
USUAL = 1.5
S_LIMIT_RAD = math.radians(1.0)


def calibrate(settings: Mapping[str, Any]) -> dict[str, Any]:
    """The result of an angle calibration as plain data; `certificate` is None when refused.

    Args:
        settings: `bench` (its name), `sensor`, `calibration` as the bench states them,
            `operator`, `readings`: each with `stop_deg`, `run`, `rising`, `mean`, `sd`, `reasons`.
    """
    limits = JigCalibration.model_validate(settings["calibration"])
    sensor = AngleSensor.model_validate(settings["sensor"])
    taken = settings["readings"]
    found = (
        [*_count_reasons(taken)] or [*_reading_reasons(taken)] or [*_order_reasons(taken, sensor)]
    )
    if found:
        return refused(found)
    of = _readings(taken)
    reach = float(np.max(np.abs(of.y)))
    chosen = choose(of.x, of.y, (0, 1), (0, 1, 2), MATTERS * reach)
    found = [*_slope_reasons(of, sensor), *_straight_reasons(chosen.curve.s)]
    if found:
        return refused(found)
    u_stop = math.radians(limits.u_stop_deg)
    parts = (
        *taken_apart(of, chosen.curve),
        Part("stops", u_stop, math.inf, "one error of all stops: plate against the zero mark"),
    )
    told = evaluate(
        "angle", UNIT, lambda x: reach + sum(x.values()), [part.as_input(UNIT) for part in parts]
    )
    polynomial = chosen.curve.polynomial
    scale = Scale(polynomial, polynomial, 0.0, together(parts), told.dof, 0.0, reach, UNIT,
                  "angle certificate")  # fmt: skip
    return {
        "measurands": {"angle": to_dict(told)},
        "reasons": [],
        "figures": {
            "chosen": chosen.why,
            "s_rad": chosen.curve.s,
            "coefficients": list(chosen.curve.coefficients),
            "u": list(chosen.curve.u),
            "parts": [vars(part) | {"dof": finite(part.dof)} for part in parts],
            "sides": {
                "both": {
                    "value": of.y.tolist(),
                    "residual": (of.y - chosen.curve.value(of.x)).tolist(),
                    "rising": of.rising.tolist(),
                }
            },
        },
        "certificate": {
            "channel": "angle",
            "bench": settings["bench"],
            "serial": "",
            "operator": settings["operator"],
            "months": limits.months_valid,
            "curve": scale.to_dict(),
            "within": told.U / reach,
            "held": {},
            "sentence": sentence(float(np.min(of.y)), float(np.max(of.y)), told.U),
        },
    }


def sentence(low_rad: float, high_rad: float, U_rad: float) -> str:
    """What the certificate comes to."""
    low, high = math.degrees(low_rad), math.degrees(high_rad)
    within = math.ceil(math.degrees(U_rad) * 100) / 100
    return f"Good from {low:.0f}° to {high:.0f}°, within {within:g}°."


def _readings(taken: Sequence[Mapping[str, Any]]) -> Readings:
    rows = [(t["mean"], math.radians(t["stop_deg"]), float(t["rising"])) for t in taken]
    x, y, rising = np.array(rows, dtype=float).T
    noise = math.sqrt(float(np.mean([(t["sd"] or 0.0) ** 2 for t in taken])))
    none = np.array([], dtype=float)
    return Readings(x, y, y, rising, none, none, noise)


def _count_reasons(taken: Sequence[Mapping[str, Any]]) -> Iterator[Reason]:
    stops = len({t["stop_deg"] for t in taken})
    if stops < STOPS:
        text = f"{stops} different stops; {STOPS} are needed to see a bend"
        yield Reason("too_few_stops", text, float(stops), float(STOPS))
    runs = len({t["run"] for t in taken})
    if runs < RUNS:
        text = f"{runs} run along the stops; {RUNS} are needed to see how well it repeats"
        yield Reason("too_few_runs", text, float(runs), float(RUNS))


def _reading_reasons(taken: Sequence[Mapping[str, Any]]) -> Iterator[Reason]:
    for t in taken:
        where = f"{t['stop_deg']:g}°, run {t['run']}"
        if t["mean"] is None or t["reasons"]:
            told = "; ".join(reason["text"] for reason in t["reasons"]) or "no samples"
            yield Reason("reading", f"{where}: {told}")
            continue
        share = t["mean"] / LARGEST_SUM
        if not END_SHARE < share < 1 - END_SHARE:
            text = (
                f"{where}: the angle sensor is at the end of its range ({share:.0%} of its "
                "supply): check its plug, and turn its magnet until the zero mark reads the middle"
            )
            yield Reason("sensor_end", text, share, END_SHARE)


def _order_reasons(taken: Sequence[Mapping[str, Any]], sensor: AngleSensor) -> Iterator[Reason]:
    sign = math.copysign(1.0, sensor.per_rad)
    for run, rising in sorted({(t["run"], bool(t["rising"])) for t in taken}):
        own = sorted(
            (t["stop_deg"], t["mean"])
            for t in taken
            if (t["run"], bool(t["rising"])) == (run, rising)
        )
        steps = [(b[0], sign * (b[1] - a[1])) for a, b in pairwise(own)]
        if all(step < 0 for _, step in steps):
            yield Reason("reversed", _turned_round(sensor))
            return
        for stop, step in steps:
            if step <= 0:
                text = f"run {run}: the arm at {stop:g}° reads no more than at the stop before it"
                yield Reason("not_rising", f"{text}: stops mixed up?", step, 0.0, "sum")


def _turned_round(sensor: AngleSensor) -> str:
    """Swapping its supply and 0 V would also turn the reading, and destroy the sensor."""
    low, high = sensor.high_share, sensor.low_share
    return (
        "the angle falls while the arm turns right: write "
        f"low_share = {low:g} and high_share = {high:g} under [pry.angle] in bench.toml, then "
        "calibrate again; never touch the sensor's supply wires for it"
    )


def _slope_reasons(of: Readings, sensor: AngleSensor) -> Iterator[Reason]:
    share = float(np.polyfit(of.y, of.x / LARGEST_SUM, 1)[0])
    ratio = share / sensor.per_rad
    if not 1 / USUAL <= ratio <= USUAL:
        text = (
            f"the sensor turns {ratio:.3g} times as fast as its stated {sensor.span_deg:g}° lead "
            "to expect: check span_deg in bench.toml, the stops, and the sensor's type"
        )
        yield Reason("span", text, ratio, USUAL)


def _straight_reasons(s_rad: float) -> Iterator[Reason]:
    if s_rad > S_LIMIT_RAD:
        text = (
            f"the readings lie {math.degrees(s_rad):.2g}° about their curve: stops mixed up, or "
            "the magnet is loose"
        )
        yield Reason("scatter", text, s_rad, S_LIMIT_RAD, UNIT)
