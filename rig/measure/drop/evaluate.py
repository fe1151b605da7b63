"""One drop: from its record to impact energy, rebound, second strike, and reasons.

Impact energy is 1/2 m v^2 of the carriage with striker at first contact, and of nothing else. The
drum and wire move too (about 4 g, 0.2 % of 2 kg), but their energy is not behind the edge at
contact: the wire can only pull, it stretches when the carriage stops, and what part of the drum's
energy then presses on the carriage is neither measured nor the same from rig to rig. Nominal
energy m g h is shown for comparison and never in place of it.

Speeds are fitted in counts a nominal second (`rig.measure.drop.branch`) and turned into metres a
second inside the budget, v = s k / e, so that scale k and time base e keep their own rows. A shift
of the contact height by d counts changes a speed by s^2 -> s^2 + 2 a d.

Both rebound and impact speed are those at the contact height. Energy not returned,
1/2 m (v_i^2 - v_r^2), is an upper bound of what the edge took: specimen and frame share it.
"""

from dataclasses import dataclass

from rig.board.wire import TICK_HZ
from rig.measure.budget import Measurand, Reason
from rig.measure.drop import flight
from rig.measure.drop.checks import (
    after_reasons,
    before_reasons,
    fall_reasons,
    gate_reasons,
    rise_unlike_fall,
)
from rig.measure.drop.facts import Asked, DropFacts, DropRecord
from rig.measure.drop.impact import impact
from rig.measure.drop.parts import Parts, fit_after, fit_fall
from rig.measure.drop.rebound import caught, later, rebound
from rig.measure.result import Result


@dataclass(frozen=True)
class DropResult(Result):
    """What a drop gave. Without a proven strike there are no measurands, only reasons.

    Attributes:
        measurands: by name: impact_speed, impact_energy, nominal_energy, release_height,
            fall_acceleration, gate_speed (with a gate), rebound_speed, restitution,
            rebound_energy, energy_not_returned,
            second_strike_speed, second_strike_energy (after one),
            total_energy. Where the rise is no free flight of this tower, none of what came after
            the strike is stated (figure rise_unlike_fall).
        reasons: why the trial is not valid; empty when it is.
        figures: further numbers of the evaluation, by name, SI.
        caught: the record proves that the carriage stopped above contact after its rebound.
    """

    caught: bool = False


def evaluate_drop(record: DropRecord, facts: DropFacts, asked: Asked | None = None) -> DropResult:
    """Everything one drop tells.

    The same record, facts and request always give the same result.
    """
    asked = asked or Asked()
    if len(record.ticks) == 0:
        return DropResult(reasons=(*record.clock, Reason("no_strike", "the record is empty")))
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
        measurands, reasons, _figures(parts, record, facts), caught(parts, record, facts)
    )


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
    if parts.returns:
        second_s = parts.returns[0].crossing_s
        figures["second_contact_tick"] = float(record.ticks[0]) + second_s * TICK_HZ
    if (unlike := rise_unlike_fall(parts, facts)) is not None:
        figures["rise_unlike_fall"] = unlike
    if path.rest_count is not None:
        figures["rest_height_m"] = (path.rest_count - record.contact.value) * scale
    return figures


def _measurands(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    made = impact(parts, record, facts)
    if rise_unlike_fall(parts, facts) is None:
        made |= rebound(parts, record, facts)
        made |= later(parts, record, facts)
    return made
