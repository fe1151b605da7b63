"""When an edge is dull: the stop rule of a cuts test, fixed before the start.

Dull when enough marked places fail on enough successive probes (2 of 3 on two by default: common
practice, no source), or when the measured force exceeds its limit, or the test ends at its limit
of cuts with the edge still sharp.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from rig.errors import RigError


@dataclass(frozen=True)
class Probe:
    """One probe: cuts done before it, whether each marked place passed, force to sever in N."""

    cuts: int
    passed: tuple[bool, ...] = ()
    force_n: float | None = None


@dataclass(frozen=True)
class StopRule:
    """The rule. A force limit of None leaves force out, as does `places` 0 the marked places."""

    cut_limit: int
    places: int = 3
    failing: int = 2
    successive: int = 2
    force_limit_n: float | None = None

    def __post_init__(self) -> None:
        if self.cut_limit < 1 or self.successive < 1:
            raise RigError(
                f"a limit of {self.cut_limit} cuts, {self.successive} successive probes",
                remedy="give at least one of each",
            )
        if self.places and not 1 <= self.failing <= self.places:
            raise RigError(f"{self.failing} failing of {self.places} places", remedy="see the rule")
        if not self.places and self.force_limit_n is None:
            raise RigError("a rule without marked places needs a force limit")


class Stop(Enum):
    """What the rule says after the probes so far."""

    GO_ON = "go on"
    DULL = "dull: marked places failed"
    FORCE = "dull: force above its limit"
    CUT_LIMIT = "limit of cuts reached"


@dataclass(frozen=True)
class Verdict:
    """What to do, and the life so far: (last_pass_cuts, first_fail_cuts].

    The first fail is that of the first probe of the failing row, infinite until the rule calls
    the edge dull. `unconfirmed` counts the failed probes at the end that did not suffice.
    """

    stop: Stop
    last_pass_cuts: float
    first_fail_cuts: float
    unconfirmed: int = 0


def judge(probes: Sequence[Probe], rule: StopRule) -> Verdict:
    """Apply the rule to the probes done so far, in order.

    Probes after the one at which the edge was dull are not looked at.

    Raises:
        RigError: probes out of order, or without what the rule needs.
    """
    last_pass, first_fail, row, before = 0.0, math.inf, 0, -1
    for probe in probes:
        _check(probe, before, rule)
        before = probe.cuts
        over = rule.force_limit_n is not None and (probe.force_n or 0.0) > rule.force_limit_n
        if not over and not _failed(probe, rule):
            last_pass, row = float(probe.cuts), 0
            continue
        first_fail, row = first_fail if row else float(probe.cuts), row + 1
        if over or row >= rule.successive:
            return Verdict(Stop.FORCE if over else Stop.DULL, last_pass, first_fail)
    ended = before >= rule.cut_limit
    return Verdict(Stop.CUT_LIMIT if ended else Stop.GO_ON, last_pass, math.inf, row)


def _failed(probe: Probe, rule: StopRule) -> bool:
    return rule.places > 0 and probe.passed.count(False) >= rule.failing


def _check(probe: Probe, before: int, rule: StopRule) -> None:
    where = f"probe at {probe.cuts} cuts"
    if probe.cuts <= before or probe.cuts < 0:
        raise RigError("probes go by rising counts of cuts", where=where)
    if len(probe.passed) != rule.places:
        raise RigError(
            f"{len(probe.passed)} places told, the rule has {rule.places}",
            where=where,
            remedy="probe every marked place",
        )
    if rule.force_limit_n is not None and probe.force_n is None:
        raise RigError("no force told", where=where, remedy="measure it: the rule has a limit")
    if probe.force_n is not None and not (math.isfinite(probe.force_n) and probe.force_n >= 0):
        raise RigError(f"force {probe.force_n:g} N", where=where, remedy="measure it again")
