"""One drop: from its record to impact energy, rebound, second strike, and reasons.

Impact energy is 1/2 m v^2 of the carriage with striker at first contact, and of nothing else. The
drum and wire move too (about 4 g, 0.2 % of 2 kg), but their energy is not behind the edge at
contact: the wire can only pull, it stretches when the carriage stops, and what part of the drum's
energy then presses on the carriage is neither measured nor the same from rig to rig. Nominal
energy m g h is shown for comparison and never in place of it.

Speeds are fitted in counts a nominal second (`rig.measure.branch`) and turned into metres a second
inside the budget, v = s k / e, so that scale k and time base e keep their own rows. A shift of the
contact height by d counts changes a speed by s^2 -> s^2 + 2 a d.

Both rebound and impact speed are those at the contact height. Energy not returned,
1/2 m (v_i^2 - v_r^2), is an upper bound of what the edge took: specimen and frame share it.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rig.board.wire import TICK_HZ
from rig.measure import flight
from rig.measure.branch import Branch
from rig.measure.budget import Input, Measurand, Reason, evaluate, from_dict, rectangular, to_dict
from rig.measure.checks import after_reasons, before_reasons, fall_reasons, gate_reasons
from rig.measure.facts import QUANTISED_U, Asked, DropFacts, DropRecord
from rig.measure.parts import Parts, fit_after, fit_fall


@dataclass(frozen=True)
class DropResult:
    """What a drop gave. Without a proven strike there are no measurands, only reasons.

    Attributes:
        measurands: by name: impact_speed, impact_energy, nominal_energy, fall_acceleration,
            gate_speed (with a gate), rebound_speed, restitution, energy_not_returned,
            second_strike_speed, second_strike_energy (after one), total_energy.
        reasons: why the trial is not valid; empty when it is.
        figures: further numbers of the evaluation, by name, SI.
        caught: the record proves that the carriage stopped above contact after its rebound.
    """

    measurands: Mapping[str, Measurand] = field(default_factory=dict)
    reasons: tuple[Reason, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    caught: bool = False

    def __getitem__(self, name: str) -> Measurand:
        return self.measurands[name]

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "measurands": {name: to_dict(m) for name, m in self.measurands.items()},
            "reasons": [vars(reason).copy() for reason in self.reasons],
            "figures": dict(self.figures),
            "caught": self.caught,
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> "DropResult":
        """The result that `to_dict` wrote."""
        return DropResult(
            {name: from_dict(m) for name, m in data["measurands"].items()},
            tuple(Reason(**reason) for reason in data["reasons"]),
            data["figures"],
            data["caught"],
        )


def evaluate_drop(record: DropRecord, facts: DropFacts, asked: Asked | None = None) -> DropResult:
    """Everything one drop tells.

    The same record, facts and request always give the same result.
    """
    asked = asked or Asked()
    time_s, scale = record.nominal_s(), facts.scale.value
    path = flight.split(time_s, record.counts, record.contact.value, scale)
    reasons = before_reasons(record, path, facts, asked)
    if path is None or not path.contacts:
        return DropResult(reasons=reasons)
    fall = fit_fall(record, facts, path)
    if fall is None:
        text = "the fall was too short to fit a speed"
        return DropResult(reasons=(*reasons, Reason("short_fall", text)))
    reasons += fall_reasons(fall, facts)
    if any(reason.name == "not_free_fall" for reason in reasons):
        return DropResult(reasons=reasons)
    parts = Parts(fall, *fit_after(record, facts, path, fall), path)
    measurands = _measurands(parts, record, facts)
    reasons += gate_reasons(measurands)
    reasons += after_reasons(parts, measurands, record, facts, asked)
    return DropResult(
        measurands, reasons, _figures(parts, record, facts), _caught(parts, record, facts)
    )


def _caught(parts: Parts, record: DropRecord, facts: DropFacts) -> bool:
    rest = parts.path.rest_count
    if rest is None or len(parts.path.contacts) > 1:
        return False
    return (rest - record.contact.value) * facts.scale.value > flight.BOUNCE_M


def _figures(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, float]:
    """Numbers a report shows beside the measurands."""
    fall, path = parts.fall, parts.path
    scale = facts.scale.value
    figures = {
        "contact_tick": float(record.ticks[0]) + fall.crossing_s * TICK_HZ,
        "release_height_counts": path.release_count - record.contact.value,
        "impact_speed_counts_s": fall.speed,
        "fit_samples": float(fall.samples),
        "fit_window_s": fall.last_s - fall.first_s,
        "fit_residual_counts": fall.residual,
        "fit_bound_m_s": fall.bound * scale / facts.time_base.value,
        "strikes": 1.0 + len(parts.returns),
    }
    if path.rest_count is not None:
        figures["rest_height_m"] = (path.rest_count - record.contact.value) * scale
    return figures


def _measurands(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    made = _impact(parts, record, facts)
    made |= _rebound(parts, record, facts)
    made |= _later(parts, record, facts)
    return made


def _branch_input(name: str, fitted: Branch) -> Input:
    source = (
        f"fit of {fitted.samples} positions over {fitted.last_s - fitted.first_s:.3f} s,"
        f" residual {fitted.residual:.2f} counts"
    )
    return Input(name, fitted.speed, fitted.u_speed, fitted.dof, source, "count/s")


def _square(x: Mapping[str, Any], name: str, fitted: Branch, contact: Input) -> Any:
    """Speed squared at the contact height, counts^2/s^2."""
    return x[name] ** 2 + 2 * fitted.acceleration * (x["contact"] - contact.value)


def _impact(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    fall, contact = parts.fall, record.contact
    release = Input(
        "release", parts.path.release_count, QUANTISED_U, math.inf,
        "height at rest before the fall, cut off to a whole count", "count",
    )  # fmt: skip
    speed = [_branch_input("fit", fall), contact, facts.scale, facts.time_base]

    def metres(x: Mapping[str, Any]) -> Any:
        return x["scale"] / x["time_base"]

    made = {
        "impact_speed": evaluate(
            "impact_speed", "m/s",
            lambda x: np.sqrt(_square(x, "fit", fall, contact)) * metres(x), speed,
        ),
        "impact_energy": evaluate(
            "impact_energy", "J",
            lambda x: x["mass"] / 2 * _square(x, "fit", fall, contact) * metres(x) ** 2,
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


def gate_speed(record: DropRecord, facts: DropFacts, fall: Branch) -> Measurand | None:
    """Impact speed from the light gate: W/(t2 - t1) + a (t_i - (t1 + t2)/2).

    ASTM D7136, measured impact velocity, with the fitted acceleration in place of g. None
    without a gate, without both edges, or when the flag was still in the beam at contact.
    """
    if facts.flag is None or record.gate_ticks is None:
        return None
    first, second = ((t - int(record.ticks[0])) / TICK_HZ for t in record.gate_ticks)
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


def _rebound(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    """Rebound speed, restitution, energy not returned; nothing when the rise was not seen."""
    squared, inputs = _rise_square(parts, record, facts)
    if squared is None:
        return {}
    fall, contact = parts.fall, record.contact

    def impact(x: Mapping[str, Any]) -> Any:
        return _square(x, "fit", fall, contact)

    def metres(x: Mapping[str, Any]) -> Any:
        return x["scale"] / x["time_base"]

    both = [_branch_input("fit", fall), *inputs]
    clock = [facts.scale, facts.time_base]
    return {
        "rebound_speed": evaluate(
            "rebound_speed", "m/s",
            lambda x: np.sqrt(np.maximum(squared(x), 0)) * metres(x), [*inputs, *clock],
        ),
        "restitution": evaluate(
            "restitution", "1", lambda x: np.sqrt(np.maximum(squared(x), 0) / impact(x)), both
        ),
        "energy_not_returned": evaluate(
            "energy_not_returned", "J",
            lambda x: x["mass"] / 2 * (impact(x) - squared(x)) * metres(x) ** 2,
            [facts.mass, *both, *clock],
        ),
    }  # fmt: skip


def _rise_square(
    parts: Parts, record: DropRecord, facts: DropFacts
) -> tuple[Callable[[Mapping[str, Any]], Any] | None, list[Input]]:
    """Rebound speed squared as a model of its inputs (the contact height among them)."""
    rise, contact = parts.rise, record.contact
    if rise is not None:
        fitted = rise
        return lambda x: _square(x, "rise", fitted, contact), [_branch_input("rise", rise), contact]
    if len(parts.path.contacts) > 1 or not _rests_on_specimen(parts, record, facts):
        return None, []
    # It stayed down. A bounce below BOUNCE_M is not told from settling: its speed is
    # anywhere from nothing to what would lift the carriage so high.
    limit = math.sqrt(-2 * parts.fall.acceleration * flight.BOUNCE_M / facts.scale.value)
    source = f"no rise above {1e3 * flight.BOUNCE_M:g} mm was seen"
    unseen = rectangular("rise", limit / 2, limit / 2, source, "count/s")
    return lambda x: x["rise"] ** 2 + 0 * x["contact"], [unseen, contact]


def _rests_on_specimen(parts: Parts, record: DropRecord, facts: DropFacts) -> bool:
    rest = parts.path.rest_count
    if rest is None:
        return False
    return (rest - record.contact.value) * facts.scale.value <= flight.BOUNCE_M


def _later(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    """Second strike's speed and energy, and the energy of all strikes together."""
    contact = record.contact
    hits = [("fit", parts.fall)]
    hits += [(f"strike {n}", hit) for n, hit in enumerate(parts.returns, 2)]

    def energy(x: Mapping[str, Any], *which: tuple[str, Branch]) -> Any:
        squares = sum(_square(x, name, hit, contact) for name, hit in which)
        return x["mass"] / 2 * squares * (x["scale"] / x["time_base"]) ** 2

    common = [contact, facts.scale, facts.time_base]
    fits = [_branch_input(name, hit) for name, hit in hits]
    made = {
        "total_energy": evaluate(
            "total_energy", "J", lambda x: energy(x, *hits), [facts.mass, *fits, *common]
        )
    }
    if parts.returns:
        second = hits[1]
        made["second_strike_speed"] = evaluate(
            "second_strike_speed", "m/s",
            lambda x: np.sqrt(_square(x, *second, contact)) * x["scale"] / x["time_base"],
            [fits[1], *common],
        )  # fmt: skip
        made["second_strike_energy"] = evaluate(
            "second_strike_energy", "J", lambda x: energy(x, second), [facts.mass, fits[1], *common]
        )
    return made
