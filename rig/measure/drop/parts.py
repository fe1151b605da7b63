"""The fitted parts of a drop: which samples each fit takes, and what it knows beforehand."""

import math
from dataclasses import dataclass

import numpy as np

from rig.measure.budget import Input
from rig.measure.drop import branch, flight
from rig.measure.drop.branch import Branch
from rig.measure.drop.facts import QUANTISED_U, DropFacts, DropRecord

WINDOW_S = 0.200  # longest stretch of the fall that is fitted
RING_S = 0.015  # draw-wire and drum ring at about 0.5 kHz after a strike, and die within 10 ms
SLOWEST_STRIKE_M_S = 0.1  # a slower return to contact is set down, not struck (10 mJ at 2 kg)
# Friction turns round at the apex: the carriage rises under 2 f more than it falls under, with f
# between nothing and a tenth of gravity; common practice, no source. The fit settles it by itself
# except for bounces of a few millimetres.
TURNED_M_S2, U_TURNED_M_S2 = 1.0, 0.6
# A slow return has no air drag and its own friction; it is left to the samples, but for a hold on
# arcs of a few millimetres.
U_SAME_M_S2 = 0.5


# Acceleration lost for each metre fallen, times the mass: a draw-wire spring of 0 to 2 N/m and air
# drag, 2 a c with c of 0 to 0.02 kg/m; common practice, no source. A long fall settles it by
# itself, only a short one leans on it.
BEND_N_M, U_BEND_N_M = 1.2, 0.6


@dataclass(frozen=True)
class Parts:
    """The fitted parts of a drop, in counts and nominal seconds."""

    fall: Branch
    rise: Branch | None
    returns: tuple[Branch, ...]
    path: flight.Flight


def _bend(facts: DropFacts) -> Input:
    mass = facts.mass.value
    return Input("bend", BEND_N_M / mass, U_BEND_N_M / mass)


def fit_fall(record: DropRecord, facts: DropFacts, path: flight.Flight) -> Branch | None:
    """The last WINDOW_S of free fall. Samples within GUARD_M of contact are left out.

    That leaves out the sample just before the reversal as well: where it is higher than the
    guard it is above contact, and where it is not it may be in it.
    """
    time_s, first = record.nominal_s(), path.contacts[0].first
    start = max(path.fall, int(np.searchsorted(time_s, time_s[first] - WINDOW_S)))
    return branch.fit(
        time_s[start:first],
        record.counts[start:first],
        record.contact.value,
        start_s=float(time_s[first]),
        bend=_bend(facts),
        cyclic=facts.cyclic_m / facts.scale.value,
    )


def fit_after(
    record: DropRecord, facts: DropFacts, path: flight.Flight, fall: Branch
) -> tuple[Branch | None, tuple[Branch, ...]]:
    """The rise after the first strike, and each return to contact that is a strike."""
    rise = None
    returns: list[Branch] = []
    slowest = SLOWEST_STRIKE_M_S / facts.scale.value
    ends = [*(c.first for c in path.contacts[1:]), path.end]
    for number, (contact, end) in enumerate(zip(path.contacts, ends, strict=True)):
        above = record.counts[contact.last + 1 : end]
        if len(above) == 0:
            continue
        at_top = contact.last + 1 + np.flatnonzero(above == above.max())
        whole = number + 1 < len(path.contacts) or path.still
        if number == 0:
            rise = _fit_rise(record, facts, contact.last, int(at_top[0]), fall, whole)
        if number + 1 < len(path.contacts):
            back = _fit_return(record, facts, int(at_top[-1]), end, fall)
            if back.speed > slowest:
                returns.append(back)
    return rise, tuple(returns)


def _fit_rise(
    record: DropRecord, facts: DropFacts, last: int, top: int, fall: Branch, whole: bool
) -> Branch | None:
    """From the end of the ringing to the first sample at the top, where a catch may hold it.

    `whole`: the record goes on past the top.
    """
    time_s = record.nominal_s()
    if (record.counts[top] - record.contact.value) * facts.scale.value <= flight.BOUNCE_M:
        return None
    inside = slice(int(np.searchsorted(time_s, time_s[last] + RING_S)), top + 1)
    scale = facts.scale.value
    known = Input("acceleration", fall.acceleration - TURNED_M_S2 / scale, U_TURNED_M_S2 / scale)
    fitted = branch.fit(
        time_s[inside],
        record.counts[inside],
        record.contact.value,
        start_s=float(time_s[last]),
        acceleration=known,
        bend=_bend(facts),
        cyclic=facts.cyclic_m / scale,
    )
    if fitted is None and whole:  # a bounce of a few millimetres, over before the ringing is
        height = float(record.counts[top]) - record.contact.value
        fitted = _by_apex(height, known, float(time_s[last]))
    return fitted


def _by_apex(height: float, known: Input, left_s: float) -> Branch:
    """Speed at contact from the height of the apex, v^2 = 2 a h (counts)."""
    speed = math.sqrt(-2 * known.value * height)
    relative = math.hypot(known.u / known.value, QUANTISED_U / height) / 2
    return Branch(
        speed=speed,
        u_speed=relative * speed,
        dof=math.inf,
        acceleration=known.value,
        u_acceleration=known.u,
        crossing_s=left_s,
        u_crossing_s=math.nan,
        samples=1,
        first_s=left_s,
        last_s=left_s,
        residual=0.0,
        expected=QUANTISED_U,
        bound=math.nan,
        plain_bound=math.nan,
    )


def _fit_return(
    record: DropRecord, facts: DropFacts, top: int, struck: int, fall: Branch
) -> Branch:
    """From the last sample at the top to the guard above contact."""
    time_s = record.nominal_s()
    scale = facts.scale.value
    known = Input("acceleration", fall.acceleration, U_SAME_M_S2 / scale)
    fitted = branch.fit(
        time_s[top + 1 : struck],
        record.counts[top + 1 : struck],
        record.contact.value,
        start_s=float(time_s[struck]),
        acceleration=known,
        bend=_bend(facts),
        cyclic=facts.cyclic_m / scale,
    )
    if fitted is None:
        height = float(record.counts[top]) - record.contact.value
        fitted = _by_apex(height, known, float(time_s[struck]))
    return fitted
