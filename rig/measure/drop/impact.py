"""Impact and release of a drop as measurands, and the light gate's own impact speed."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from rig.board.wire import TICK_HZ
from rig.measure.budget import Input, Measurand, evaluate, rectangular
from rig.measure.drop.branch import Branch
from rig.measure.drop.facts import QUANTISED_U, DropFacts, DropRecord
from rig.measure.drop.parts import Parts


def branch_input(name: str, fitted: Branch) -> Input:
    """A fitted speed as an input, counts a nominal second."""
    source = (
        f"fit of {fitted.samples} positions over {fitted.last_s - fitted.first_s:.3f} s,"
        f" residual {fitted.residual:.2f} counts"
    )
    if fitted.samples == 1:
        source = "height of the apex: the bounce was over before the wire had settled"
    return Input(name, fitted.speed, fitted.u_speed, fitted.dof, source, "count/s")


def square(x: Mapping[str, Any], name: str, fitted: Branch, contact: Input) -> Any:
    """Speed squared at the contact height, counts^2/s^2."""
    return x[name] ** 2 + 2 * fitted.acceleration * (x["contact"] - contact.value)


def impact(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    """Impact speed and energy, nominal energy, release height, acceleration, gate speed."""
    fall, contact = parts.fall, record.contact
    release = Input(
        "release", parts.path.release_count, QUANTISED_U, math.inf,
        "height at rest before the fall, cut off to a whole count", "count",
    )  # fmt: skip
    speed = [branch_input("fit", fall), contact, facts.scale, facts.time_base]

    def metres(x: Mapping[str, Any]) -> Any:
        return x["scale"] / x["time_base"]

    made = {
        "impact_speed": evaluate(
            "impact_speed", "m/s",
            lambda x: np.sqrt(square(x, "fit", fall, contact)) * metres(x), speed,
        ),
        "impact_energy": evaluate(
            "impact_energy", "J",
            lambda x: x["mass"] / 2 * square(x, "fit", fall, contact) * metres(x) ** 2,
            [facts.mass, *speed],
        ),
        "nominal_energy": evaluate(
            "nominal_energy", "J",
            lambda x: x["mass"] * x["gravity"] * x["scale"] * (x["release"] - x["contact"]),
            [facts.mass, facts.gravity, facts.scale, release, contact],
        ),
        "release_height": evaluate(
            "release_height", "m",
            lambda x: x["scale"] * (x["release"] - x["contact"]),
            [facts.scale, release, contact],
        ),
        "fall_acceleration": evaluate(
            "fall_acceleration", "m/s2",
            lambda x: x["fit"] * x["scale"] / x["time_base"] ** 2,
            [
                Input("fit", -fall.acceleration, fall.u_acceleration, fall.dof,
                      "fit of the fall, at contact", "count/s2"),
                facts.scale, facts.time_base,
            ],
        ),
    }  # fmt: skip
    gate = gate_speed(record, facts, fall)
    return made if gate is None else {**made, "gate_speed": gate}


GATE_NEAR = 0.1
"""The flag darkens the beam for as long as the fitted speed says, give or take so much; a stray
pulse does not. What the gate is for, a speed that is wrong by per cents, is judged afterwards."""


def _passage(record: DropRecord, flag_counts: float, fall: Branch) -> tuple[float, float]:
    """When the flag broke the beam and left it, seconds from the record's first sample."""
    begin = int(record.ticks[0])
    pairs = [((one - begin) / TICK_HZ, (two - begin) / TICK_HZ) for one, two in record.gate_pairs]

    def off(pair: tuple[float, float]) -> float:
        first, second = pair
        speed = fall.speed + fall.acceleration * (fall.crossing_s - (first + second) / 2)
        return abs((second - first) * speed / flag_counts - 1)

    near = [pair for pair in pairs if pair[1] < fall.crossing_s and off(pair) < GATE_NEAR]
    if near:
        return min(near, key=off)
    assert record.gate_ticks is not None
    return ((record.gate_ticks[0] - begin) / TICK_HZ, (record.gate_ticks[1] - begin) / TICK_HZ)


def gate_speed(record: DropRecord, facts: DropFacts, fall: Branch) -> Measurand | None:
    """Impact speed from the light gate: W/(t2 - t1) + a (t_i - (t1 + t2)/2).

    ASTM D7136, measured impact velocity, with the fitted acceleration in place of g. None
    without a gate, without both edges, or when the flag was still in the beam at contact.
    """
    if facts.flag is None or record.gate_ticks is None:
        return None
    first, second = _passage(record, facts.flag.value / facts.scale.value, fall)
    if not first < second < fall.crossing_s:
        return None
    inputs = [
        facts.flag,
        facts.scale,
        facts.time_base,
        Input("acceleration", -fall.acceleration, fall.u_acceleration, fall.dof,
              "fit of the fall", "count/s2"),
        Input("crossing", fall.crossing_s, fall.u_crossing_s, fall.dof, "fit of the fall", "s"),
        rectangular("dark", second - first, 1e-6, "capture ticks of 0.5 us and beam edge", "s"),
    ]  # fmt: skip
    middle = (first + second) / 2
    return evaluate(
        "gate_speed",
        "m/s",
        lambda x: (
            x["flag"] / (x["dark"] * x["time_base"])
            + x["acceleration"] * x["scale"] / x["time_base"] * (x["crossing"] - middle)
        ),
        inputs,
    )
