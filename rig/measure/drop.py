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
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from rig.board.wire import TICK_HZ
from rig.measure import flight
from rig.measure.branch import Branch
from rig.measure.budget import Input, Measurand, Reason, evaluate, from_dict, rectangular, to_dict
from rig.measure.checks import after_reasons, before_reasons, fall_reasons, gate_reasons
from rig.measure.facts import QUANTISED_U, Asked, DropFacts, DropRecord
from rig.measure.parts import Parts, fit_after, fit_fall

# Part of v_i + v_r with which the drum moves against the carriage as the specimen lets go: mean and
# standard deviation for a half-sine strike of 0.5 to 3 ms, a wire that rings at 350 to 700 Hz and
# decays by 300 to 1000 /s, all evenly (tests/measure/test_drum_swing.py integrates them).
SWING, U_SWING = 0.08, 0.17
DENT_M = 0.2e-3  # deepest dent of a soft rod by one blow; common practice, no source


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
        "fit_plain_bound_m_s": fall.plain_bound * scale / facts.time_base.value,
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
    if fitted.samples == 1:
        source = "height of the apex: the bounce was over before the wire had settled"
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
        inputs = [_branch_input("rise", rise), _drum(parts.fall, rise, facts), contact]
        return lambda x: _square(
            {**x, "rise": x["rise"] - x["drum"]}, "rise", fitted, contact
        ), inputs
    if len(parts.path.contacts) > 1 or not _rests_on_specimen(parts, record, facts):
        return None, []
    # It stayed down. A bounce below BOUNCE_M is not told from settling: its speed is
    # anywhere from nothing to what would lift the carriage so high.
    limit = math.sqrt(-2 * parts.fall.acceleration * flight.BOUNCE_M / facts.scale.value)
    source = f"no rise above {1e3 * flight.BOUNCE_M:g} mm was seen"
    unseen = rectangular("rise", limit / 2, limit / 2, source, "count/s")
    return lambda x: x["rise"] ** 2 + 0 * x["contact"], [unseen, contact]


def _drum(fall: Branch, rise: Branch, facts: DropFacts) -> Input:
    """What the drum does to the rebound before the wire has settled, counts/s.

    When the carriage turns, the drum still reels in, and swings against the carriage on the
    wire. At the moment the specimen lets go it moves against the carriage with some part of
    v_i + v_r; when the swing has died, the carriage has taken that momentum, m_drum / m of it,
    and that is the rise the fit sees.
    """
    swing = facts.drum_mass_kg / facts.mass.value * (fall.speed + rise.speed)
    source = "drum and wire swing against the carriage after the strike"
    return Input("drum", SWING * swing, U_SWING * swing, math.inf, source, "count/s")


def _rests_on_specimen(parts: Parts, record: DropRecord, facts: DropFacts) -> bool:
    rest = parts.path.rest_count
    if rest is None:
        return False
    return (rest - record.contact.value) * facts.scale.value <= flight.BOUNCE_M


def _later(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    """Second strike's speed and energy, and the energy of all strikes together."""
    contact = record.contact
    hits = [(f"strike {n}", hit) for n, hit in enumerate(parts.returns, 2)]

    def squares(x: Mapping[str, Any], *which: tuple[str, Branch]) -> Any:
        landing = {**x, "contact": _landing(x)} if which else x
        return sum(_square(landing, name, hit, contact) for name, hit in which)

    def metres(x: Mapping[str, Any]) -> Any:
        return x["scale"] / x["time_base"]

    clock = [facts.scale, facts.time_base]
    fits = [_branch_input(name, hit) for name, hit in hits]
    level = _landing_inputs(record, facts)
    first = [_branch_input("fit", parts.fall), *(level if hits else [contact])]
    unseen = _unseen(parts, record, facts)
    made = {
        "total_energy": evaluate(
            "total_energy", "J",
            lambda x: x["mass"] / 2 * metres(x) ** 2
            * (_square(x, "fit", parts.fall, contact) + squares(x, *hits) + x["unseen"]),
            [facts.mass, *first, *fits, unseen, *clock],
        )
    }  # fmt: skip
    if hits:
        made["second_strike_speed"] = evaluate(
            "second_strike_speed",
            "m/s",
            lambda x: np.sqrt(squares(x, hits[0])) * metres(x),
            [fits[0], *level, *clock],
        )
        made["second_strike_energy"] = evaluate(
            "second_strike_energy", "J",
            lambda x: x["mass"] / 2 * squares(x, hits[0]) * metres(x) ** 2,
            [facts.mass, fits[0], *level, *clock],
        )  # fmt: skip
    return made


def _unseen(parts: Parts, record: DropRecord, facts: DropFacts) -> Input:
    """Squared speed of a last bounce below BOUNCE_M, which the record does not show."""
    if _caught(parts, record, facts):
        return Input("unseen", 0.0, 0.0, math.inf, "caught: nothing struck again", "count2/s2")
    half = -parts.fall.acceleration * flight.BOUNCE_M / facts.scale.value
    source = f"a last bounce below {1e3 * flight.BOUNCE_M:g} mm, not told from settling"
    return rectangular("unseen", half, half, source, "count2/s2")


def _landing_inputs(record: DropRecord, facts: DropFacts) -> list[Input]:
    """What the height of later blows depends on: the first one dented the specimen."""
    contact, after = record.contact, record.contact_after
    if after is None:
        source = "contact height was not read after the drop: the first blow's dent is unknown"
        return [contact, rectangular("dent", 0.0, DENT_M / facts.scale.value, source, "count")]
    quarter = abs(after.value - contact.value) / 4
    source = "the first blow, the hardest, did at least half of the change of contact height"
    dent = rectangular("dent", 0.0, quarter, source, "count")
    return [contact, replace(after, name="contact_after"), dent]


def _landing(x: Mapping[str, Any]) -> Any:
    """Height at which later blows land, counts."""
    before = x["contact"]
    return before + 0.75 * (x.get("contact_after", before) - before) + x["dent"]
