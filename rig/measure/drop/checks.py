"""What makes a drop invalid: one named reason for each, with its figure and limit."""

import math
from collections.abc import Mapping

import numpy as np

from rig.board.wire import CHANNELS, TICK_HZ, Kind
from rig.measure.budget import Measurand, Reason
from rig.measure.drop.branch import Branch
from rig.measure.drop.facts import Asked, DropFacts, DropRecord
from rig.measure.drop.flight import BOUNCE_M, Flight
from rig.measure.drop.parts import TURNED_M_S2, U_TURNED_M_S2, Parts

RESIDUAL_RATIO = 2.0  # over what quantisation alone gives; rattle of 0.05 mm gives 1.2
DEEPEST_M = 0.005  # dent, elastic dip and the drum running on come to 2.5 mm
GATE_ZETA = 3.0
PERIOD_S = CHANNELS[Kind.HEIGHT].period_ticks / TICK_HZ


def before_reasons(
    record: DropRecord, path: Flight | None, facts: DropFacts, asked: Asked
) -> tuple[Reason, ...]:
    """What the record itself and the way to the strike tell."""
    found = [*_record_reasons(record, path)]
    if path is None:
        return (*found, Reason("no_strike", "the carriage did not fall"))
    scale, contact = facts.scale.value, record.contact.value
    height = (path.release_count - contact) * scale
    if asked.height_m is not None and abs(height - asked.height_m) > asked.band_m:
        text = f"released at {1e3 * height:.1f} mm, asked for {1e3 * asked.height_m:.1f} mm"
        off = abs(height - asked.height_m)
        found.append(Reason("release_height", text, off, asked.band_m, "m"))
    if not path.contacts:
        above = float(record.counts[path.fall : path.end].min() - contact) * scale
        text = f"no strike: the carriage came no nearer than {1e3 * above:.1f} mm to contact"
        found.append(Reason("no_strike", text, above, 0.0, "m"))
    return tuple(found)


def _record_reasons(record: DropRecord, path: Flight | None) -> list[Reason]:
    end = len(record.ticks) if path is None else path.end
    steps = np.diff(record.ticks[:end]) / TICK_HZ
    longest = float(steps.max()) if len(steps) else 0.0
    found = list(record.clock)
    if longest > 1.5 * PERIOD_S or record.lost_frames:
        lost = round(float(np.sum(steps[steps > 1.5 * PERIOD_S])) / PERIOD_S)
        text = f"{record.lost_frames} frames lost or damaged, {lost} samples missing"
        found.append(Reason("lost_frames", text, float(max(lost, record.lost_frames)), 0.0))
    faults = record.illegal_edges + record.missed_samples
    if faults:
        text = (
            f"encoder: {record.illegal_edges} illegal edges,"
            f" {record.missed_samples} samples the board missed"
        )
        found.append(Reason("encoder_faults", text, float(faults), 0.0))
    if record.guard_opened:
        found.append(Reason("guard_opened", "the guard was opened during the drop"))
    return found


def fall_reasons(fall: Branch, facts: DropFacts) -> tuple[Reason, ...]:
    """Is the fall a free fall of this tower?"""
    ratio, found = fall.residual / fall.expected, []
    if ratio > RESIDUAL_RATIO:
        text = (
            "the record before contact is no free fall"
            f" (residual {fall.residual:.2f} counts): look at guide, wire and contact height"
        )
        found.append(Reason("not_free_fall", text, ratio, RESIDUAL_RATIO))
    a = -fall.acceleration * facts.scale.value / facts.time_base.value**2
    low, high = facts.lowest_a_m_s2, facts.highest_a_m_s2
    if not low <= a <= high:
        limit = low if a < low else high
        text = f"fell with {a:.2f} m/s2, outside the tower's {low:g} to {high:g} m/s2"
        found.append(Reason("friction_band", text, a, limit, "m/s2"))
    return tuple(found)


def gate_reasons(measurands: Mapping[str, Measurand]) -> tuple[Reason, ...]:
    """Gate and fit disagree when they are more than three standard uncertainties apart.

    The zeta score of ISO 13528 with its limit for action, 3 (from memory): by chance it calls
    0.3 % of good drops invalid. Two intervals that do not meet would call 0.8 %, and one U of
    the difference 5 %. Scale and time base are common to both; the limit would be 1 % narrower.
    """
    gate, fit = measurands.get("gate_speed"), measurands["impact_speed"]
    if gate is None:
        return ()
    apart, limit = abs(gate.value - fit.value), GATE_ZETA * math.hypot(gate.u, fit.u)
    if apart <= limit:
        return ()
    text = f"light gate {gate.value:.4f} m/s, fit {fit.value:.4f} m/s: they do not agree"
    return (Reason("gate_disagrees", text, apart, limit, "m/s"),)


def after_reasons(
    parts: Parts,
    measurands: Mapping[str, Measurand],
    record: DropRecord,
    facts: DropFacts,
    asked: Asked,
) -> tuple[Reason, ...]:
    """What the strike and all that followed tell."""
    found = [*_slip(parts, record, facts, asked), *_energy(measurands, asked)]
    if len(parts.path.contacts) > 1 and not asked.second_strike_allowed:
        found.append(_second_strike(parts, measurands))
    if not parts.path.still:
        found.append(Reason("record_short", "the record ends before the carriage stood still"))
    return tuple(found)


def _second_strike(parts: Parts, measurands: Mapping[str, Measurand]) -> Reason:
    second = measurands.get("second_strike_energy")
    if second is None and parts.returns:  # by a rise that is no free flight
        text = f"struck {len(parts.returns) + 1} times; how hard the second time cannot be told"
        return Reason("second_strike", text)
    if second is None:  # a slow return is no proof that there was no blow
        text = "the carriage came back to the specimen before it stood still, slowly"
        return Reason("second_strike", text)
    text = f"struck {len(parts.returns) + 1} times; the second blow had {second.value:.3f} J"
    return Reason("second_strike", text, second.value, 0.0, "J")


def _slip(parts: Parts, record: DropRecord, facts: DropFacts, asked: Asked) -> list[Reason]:
    """Did the contact height move, or the striker go too deep?"""
    scale, contact = facts.scale.value, record.contact.value
    first = parts.path.contacts[0]
    deepest = (contact - float(record.counts[first.first : first.last + 1].min())) * scale
    if deepest > DEEPEST_M:
        text = f"the striker went {1e3 * deepest:.1f} mm below contact: look for a slipped specimen"
        return [Reason("specimen_slipped", text, deepest, DEEPEST_M, "m")]
    moved = math.nan
    if record.contact_after is not None:
        moved = (record.contact_after.value - contact) * scale
    elif parts.path.rest_count is not None:
        resting = (parts.path.rest_count - contact) * scale
        moved = resting if resting <= BOUNCE_M else math.nan  # higher: caught, not resting
    if facts.rule >= STRANGE and record.contact_after is not None:
        if lost := _counts_lost(moved, record, facts):
            return [lost]
        if asked.stayed and moved < 0:
            return []
    if not abs(moved) > facts.slip_limit_m:
        return []
    text = f"contact moved by {1e3 * moved:+.1f} mm over the drop: specimen or encoder slipped"
    return [Reason("specimen_slipped", text, abs(moved), facts.slip_limit_m, "m")]


STRANGE = 2
"""From this rule on (`DropFacts.rule`) what shops' towers do is told apart."""
LOST_SCORE = 3.0  # standard uncertainties of two contacts by which no contact rises by itself


def _counts_lost(moved: float, record: DropRecord, facts: DropFacts) -> Reason | None:
    """Contact that reads higher after a blow: nothing grows under a striker."""
    after = record.contact_after
    assert after is not None
    limit = LOST_SCORE * math.hypot(record.contact.u, after.u) * facts.scale.value
    if not moved > limit:
        return None
    text = (
        f"contact reads {1e3 * moved:.1f} mm higher after the drop: the encoder lost counts, or "
        "something lies under the striker"
    )
    return Reason("counts_lost", text, moved, limit, "m")


def rise_unlike_fall(parts: Parts, facts: DropFacts) -> float | None:
    """How far the rise is from a free flight of this tower, as a multiple of what is; else None.

    A bench that gives moves with the encoder; a reel that cannot follow lets the wire go slack:
    either way the counts are not the carriage's height above the specimen.
    """
    rise, scale = parts.rise, facts.scale.value
    if facts.rule < STRANGE or rise is None:
        return None
    if rise.samples == 1:  # told by its apex alone, as bounces of a few millimetres are
        height = rise.speed**2 / (-2 * rise.acceleration) * scale
        return height / APEX_M if height > APEX_M else None
    known = parts.fall.acceleration - TURNED_M_S2 / scale
    ratio = rise.residual / rise.expected / RISE_RATIO
    off = abs(rise.acceleration - known) * scale / (RISE_SCORE * U_TURNED_M_S2)
    worst = max(ratio, off)
    return worst if worst > 1 else None


RISE_RATIO = 1.25  # of residuals over what quantisation leaves: ours
RISE_SCORE = 2.5  # standard uncertainties of what friction turned round may change: ours
APEX_M = 0.02


def _energy(measurands: Mapping[str, Measurand], asked: Asked) -> list[Reason]:
    if asked.energy_j is None:
        return []
    value = measurands["impact_energy"].value
    miss = value / asked.energy_j - 1
    if abs(miss) <= asked.tolerance:
        return []
    text = f"{value:.3f} J, {miss:+.1%} from the {asked.energy_j:g} J asked for"
    return [Reason("energy_off_target", text, abs(miss), asked.tolerance)]
