"""What followed the first strike: rebound, later strikes, and the catch."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from rig.measure.budget import Input, Measurand, evaluate, rectangular
from rig.measure.drop import flight
from rig.measure.drop.branch import Branch
from rig.measure.drop.facts import DropFacts, DropRecord
from rig.measure.drop.impact import branch_input, square
from rig.measure.drop.parts import Parts

# Part of v_i + v_r with which the drum moves against the carriage as the specimen lets go: mean and
# standard deviation for a half-sine strike of 0.5 to 3 ms, a wire that rings at 350 to 700 Hz and
# decays by 300 to 1000 /s, all evenly (tests/measure/test_drum_swing.py integrates them).
SWING, U_SWING = 0.08, 0.17
DENT_M = 0.2e-3  # deepest dent of a soft rod by one blow; common practice, no source


def caught(parts: Parts, record: DropRecord, facts: DropFacts) -> bool:
    """The carriage stood still above contact after its one strike."""
    rest = parts.path.rest_count
    if rest is None or len(parts.path.contacts) > 1:
        return False
    return (rest - record.contact.value) * facts.scale.value > flight.BOUNCE_M


def rebound(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    """Rebound speed and energy, restitution, energy not returned; nothing when no rise was seen."""
    squared, inputs = _rise_square(parts, record, facts)
    if squared is None:
        return {}
    fall, contact = parts.fall, record.contact

    def struck(x: Mapping[str, Any]) -> Any:
        return square(x, "fit", fall, contact)

    def metres(x: Mapping[str, Any]) -> Any:
        return x["scale"] / x["time_base"]

    both = [branch_input("fit", fall), *inputs]
    clock = [facts.scale, facts.time_base]
    return {
        "rebound_speed": evaluate(
            "rebound_speed", "m/s",
            lambda x: np.sqrt(np.maximum(squared(x), 0)) * metres(x), [*inputs, *clock],
        ),
        "rebound_energy": evaluate(
            "rebound_energy", "J",
            lambda x: x["mass"] / 2 * squared(x) * metres(x) ** 2,
            [facts.mass, *inputs, *clock],
        ),
        "restitution": evaluate(
            "restitution", "1", lambda x: np.sqrt(np.maximum(squared(x), 0) / struck(x)), both
        ),
        "energy_not_returned": evaluate(
            "energy_not_returned", "J",
            lambda x: x["mass"] / 2 * (struck(x) - squared(x)) * metres(x) ** 2,
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
        inputs = [branch_input("rise", rise), _drum(parts.fall, rise, facts), contact]
        return lambda x: square(
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


def later(parts: Parts, record: DropRecord, facts: DropFacts) -> dict[str, Measurand]:
    """Second strike's speed and energy, and the energy of all strikes together."""
    contact = record.contact
    hits = [(f"strike {n}", hit) for n, hit in enumerate(parts.returns, 2)]

    def squares(x: Mapping[str, Any], *which: tuple[str, Branch]) -> Any:
        landing = {**x, "contact": _landing(x)} if which else x
        return sum(square(landing, name, hit, contact) for name, hit in which)

    def metres(x: Mapping[str, Any]) -> Any:
        return x["scale"] / x["time_base"]

    clock = [facts.scale, facts.time_base]
    fits = [branch_input(name, hit) for name, hit in hits]
    level = _landing_inputs(record, facts)
    first = [branch_input("fit", parts.fall), *(level if hits else [contact])]
    unseen = _unseen(parts, record, facts)
    made = {
        "total_energy": evaluate(
            "total_energy", "J",
            lambda x: x["mass"] / 2 * metres(x) ** 2
            * (square(x, "fit", parts.fall, contact) + squares(x, *hits) + x["unseen"]),
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
            "second_strike_energy",
            "J",
            lambda x: x["mass"] / 2 * squares(x, hits[0]) * metres(x) ** 2,
            [facts.mass, fits[0], *level, *clock],
        )
    return made


def _unseen(parts: Parts, record: DropRecord, facts: DropFacts) -> Input:
    """Squared speed of a last bounce below BOUNCE_M, which the record does not show."""
    if caught(parts, record, facts):
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
