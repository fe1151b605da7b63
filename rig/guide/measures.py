"""Raw frames and settings -> stored result of a drop, a reading, a hardness.

The settings are journaled with the step, so a result can be computed again from the logbook
alone, and the same raw bytes with the same settings always give the same result.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from rig.bench import STATED, Site, Tower
from rig.board.samples import Capture, capture
from rig.board.wire import Event, Kind, Output
from rig.guide.kind import Settings
from rig.measure.budget import Input
from rig.measure.drop.checks import STRANGE
from rig.measure.drop.evaluate import evaluate_drop
from rig.measure.drop.facts import (
    Asked,
    DropFacts,
    DropRecord,
    contact_height,
    gate_pairs,
    gate_ticks,
)
from rig.measure.gravity import local_gravity
from rig.measure.hardness import Block, Piece, evaluate_hardness
from rig.measure.reading import clock_reasons, evaluate_reading


def drop(raw: bytes, settings: Settings) -> dict[str, Any]:
    """One drop.

    Settings: `tower`, `site`, `contact`, `contact_after`, `time_base`, `asked`, `rule`.
    """
    tower = Tower.model_validate(settings["tower"])
    site = Site.model_validate(settings["site"])
    seen = capture(raw)
    facts = replace(
        drop_facts(tower, site, settings["time_base"]),
        rule=int(settings.get("rule", 1)),  # runs of earlier versions have none
    )
    record = _record(seen, tower, settings["contact"], settings["contact_after"], facts.rule)
    return evaluate_drop(record, facts, Asked(**settings["asked"])).to_dict()


def drop_facts(tower: Tower, site: Site, base: Mapping[str, Any]) -> DropFacts:
    """What the evaluation of a drop takes from the bench file, SI units, each with its u.

    Args:
        tower: mass, wire, gate and limits.
        site: for gravity at its latitude and height above the sea.
        base: the board's clock: `factor` (true over shown seconds), its `u` and `source`.
    """
    wire, carriage, gate = tower.wire, tower.carriage, tower.gate
    return DropFacts(
        mass=Input(
            "mass",
            carriage.mass_kg,
            carriage.u_mass_kg,
            math.inf,
            carriage.source,
            "kg",
        ),
        scale=Input(
            "scale",
            wire.count_m,
            wire.count_m * wire.u_count_relative,
            math.inf,
            wire.source,
            "m/count",
        ),
        time_base=Input(
            "time_base", base["factor"], base["u"], math.inf, base["source"], "s/s", "rectangular"
        ),
        gravity=local_gravity(site.latitude_deg, site.elevation_m or 0.0),
        drum_mass_kg=wire.drum_mass_kg,
        cyclic_m=wire.cyclic_m,
        lowest_a_m_s2=tower.fall.lowest_a_m_s2,
        highest_a_m_s2=tower.fall.highest_a_m_s2,
        slip_limit_m=tower.contact.slip_limit_m,
        flag=Input("flag", gate.flag_m, gate.u_flag_m, math.inf, STATED, "m")
        if gate.fitted
        else None,
    )


def _record(
    seen: Capture, tower: Tower, contact: Settings, after: Settings | None, rule: int
) -> DropRecord:
    def touched(outcome: Settings, name: str) -> Input:
        return contact_height(
            [outcome["counts"]], tower.contact.u_contact_m, tower.wire.count_m, name
        )

    released = [
        e.ticks
        for e in seen.events
        if e.code is Event.OUTPUT and e.value == Output.LATCH and e.extra
    ]
    begin = released[0] if released else 0
    end = int(seen[Kind.HEIGHT].ticks[-1]) if len(seen[Kind.HEIGHT].ticks) else begin
    edges = [(e.ticks, e.value) for e in seen.events if e.code is Event.GATE]
    return DropRecord(
        ticks=seen[Kind.HEIGHT].ticks,
        counts=seen[Kind.HEIGHT].values,
        contact=touched(contact, "contact"),
        contact_after=touched(after, "contact_after") if after else None,
        gate_ticks=gate_ticks(edges, begin, end) if released else None,
        gate_pairs=gate_pairs(edges, begin, end) if released and rule >= STRANGE else (),
        illegal_edges=seen[Kind.HEIGHT].turns["illegal_edges"],
        missed_samples=seen[Kind.HEIGHT].turns["missed_samples"],
        lost_frames=sum(gap.missing for gap in seen.gaps) + seen.damaged,
        guard_opened=any(
            e.code is Event.GUARD and not e.value and e.ticks >= begin for e in seen.events
        ),
        clock=clock_reasons(seen),
    )


def reading(raw: bytes, settings: Settings) -> dict[str, Any]:
    """A channel at rest. Settings: `channel`, `name_spikes`."""
    lone = bool(settings.get("name_spikes"))
    return evaluate_reading(capture(raw), settings["channel"], lone).to_dict()


def hardness(_: bytes, settings: Settings) -> dict[str, Any]:
    """Readings typed in. Settings: `piece`, `block`."""
    piece, block = dict(settings["piece"]), dict(settings["block"])
    piece["readings_hrc"] = tuple(piece["readings_hrc"])
    for when in ("before_hrc", "after_hrc"):
        block[when] = tuple(block[when])
    return evaluate_hardness(Piece(**piece), Block(**block)).to_dict()
