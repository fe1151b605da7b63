"""Edge life out of a cuts test: probes and the rule fixed before the start -> an interval of cuts.

The life is never one number made up from an interval. Where a force was measured at every probe,
the crossing of its limit is told beside the interval (`rig.measure.life.crossing`), and where the
cutting force was recorded, how it grew (`rig.measure.life.wear`).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rig.measure.budget import Reason
from rig.measure.life import Probe, Stop, StopRule, crossing, judge, wear

REJECTED_SHARE = 0.10
"""Rejected strokes over counted ones from which the count is doubtful: each may have cut a part of
its way, which the count leaves out. Common practice, no source."""

ENDED = {
    Stop.DULL: "dull: marked places failed",
    Stop.FORCE: "dull: force above its limit",
    Stop.CUT_LIMIT: "limit of cuts reached, still sharp",
    Stop.GO_ON: "ended before the rule did",
}


@dataclass(frozen=True)
class Probed:
    """One probe as it was made: `force_n` the median, with its standard uncertainty and dof."""

    probe: Probe
    u_n: float | None = None
    dof: float = math.inf


@dataclass(frozen=True)
class Cutting:
    """What was cut: counts and rejections of the whole test, and the cutting force along it.

    `forces`: (cuts, mean force in N) of each stretch that has one.
    """

    cuts: int
    rejected: Mapping[str, int]
    forces: tuple[tuple[float, float], ...] = ()


def evaluate_edge_life(
    probes: Sequence[Probed], rule: StopRule, cutting: Cutting, accepted: bool
) -> dict[str, Any]:
    """The life as plain data: `life`, `stop`, `unconfirmed`, `figures`, `reasons`, `notes`.

    Args:
        probes: after the start, in order.
        rule: fixed before the start.
        cutting: what was cut in all.
        accepted: whether the edge was sharp enough at the start.
    """
    if not accepted:
        text = "the edge was not as sharp at the start as was fixed: sharpen it, start a new trial"
        return _told(None, "not started", 0, {}, (Reason("not_sharp_at_start", text),), ())
    verdict = judge([one.probe for one in probes], rule)
    life = {
        "last_pass_cuts": verdict.last_pass_cuts,
        "first_fail_cuts": _none_if_infinite(verdict.first_fail_cuts),
    }
    reasons = list(_rejected(cutting))
    if verdict.last_pass_cuts == 0 and math.isinf(verdict.first_fail_cuts):
        reasons.append(Reason("nothing_known", "no probe tells anything of this edge's life"))
    figures, notes = _crossed(probes, rule)
    more, said = _wearing(cutting)
    ended = ENDED[verdict.stop]
    return _told(life, ended, verdict.unconfirmed, figures | more, tuple(reasons), (*notes, *said))


def _told(
    life: Mapping[str, float | None] | None, stop: str, unconfirmed: int,
    figures: Mapping[str, float], reasons: tuple[Reason, ...], notes: tuple[Reason, ...],
) -> dict[str, Any]:  # fmt: skip
    return {
        "measurands": {},
        "life": None if life is None else dict(life),
        "stop": stop,
        "unconfirmed": unconfirmed,
        "figures": dict(figures),
        "reasons": [vars(reason).copy() for reason in reasons],
        "notes": [reason.text for reason in notes],
    }


def _rejected(cutting: Cutting) -> list[Reason]:
    made = sum(cutting.rejected.values())
    share = made / cutting.cuts if cutting.cuts else math.inf if made else 0.0
    if share <= REJECTED_SHARE:
        return []
    text = (
        f"{made} strokes were not counted beside {cutting.cuts} that were: the edge may have cut "
        "more than is told"
    )
    return [Reason("count_doubtful", text, min(share, 1e9), REJECTED_SHARE)]


def _crossed(
    probes: Sequence[Probed], rule: StopRule
) -> tuple[dict[str, float], tuple[Reason, ...]]:
    """Where the measured force passed its limit; nothing when it was not measured."""
    measured = [(one.probe.cuts, one.probe.force_n, one.u_n, one.dof) for one in probes
                if one.probe.force_n is not None and one.u_n]  # fmt: skip
    if rule.force_limit_n is None or len(measured) < 2:
        return {}, ()
    cuts, force, u, dof = zip(*measured, strict=True)
    found = crossing(cuts, force, rule.force_limit_n, u, sum(dof))
    told = {"crossing_cuts": found.estimate, "crossing_low": found.low, "crossing_high": found.high}
    return {name: value for name, value in told.items() if math.isfinite(value)}, found.reasons


def _wearing(cutting: Cutting) -> tuple[dict[str, float], tuple[Reason, ...]]:
    """How the cutting force grew; nothing when it was not recorded."""
    if len(cutting.forces) < 2:
        return {}, ()
    grown = wear([cuts for cuts, _ in cutting.forces], [force for _, force in cutting.forces])
    told = {
        "force_start_n": grown.start_n.estimate,
        "force_rise_n": grown.rise_n.estimate,
        "force_rise_low_n": grown.rise_n.low,
        "force_rise_high_n": grown.rise_n.high,
        "force_power": grown.power.estimate,
    }
    return {name: value for name, value in told.items() if math.isfinite(value)}, grown.reasons


def _none_if_infinite(value: float) -> float | None:
    return None if math.isinf(value) else value
