"""What a cuts test is held to, fixed before the first cut: when to probe, and when it is dull."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from procedures.lib.probing import Criterion, criterion
from rig.errors import RigError
from rig.guide.parameters import Parameter
from rig.measure.life import Schedule, StopRule, geometric, planned, stepped

KINDS = ("geometric", "stepped", "planned")

PARAMETERS = (
    Parameter("probes", "text", "geometric", "geometric, stepped, or planned from a pilot life"),
    Parameter("first", "count", "20", "geometric: cuts before the first probe"),
    Parameter("ratio", "text", "1.25", "geometric: each probe at most this many times the last"),
    Parameter("step", "count", "25", "stepped: cuts from probe to probe"),
    Parameter("pilot", "count", "0", "planned: cuts that a pilot blade lasted"),
    Parameter("share", "fraction", "20%", "planned: interval expected, as a share of the life"),
    Parameter("limit", "count", "2000", "the test ends here, dull or not (not with planned)"),
    Parameter("failing", "count", "2", "failing places that make a probe fail"),
    Parameter("successive", "count", "2", "failing probes in a row that make the edge dull"),
)


@dataclass(frozen=True)
class Plan:
    """The schedule, the rule and the criterion of one test."""

    schedule: Schedule
    rule: StopRule
    criterion: Criterion

    def to_dict(self) -> dict[str, Any]:
        """Plain data, as kept with the result."""
        return {
            "probes_at": list(self.schedule.counts),
            "made": self.schedule.made,
            "rule": asdict(self.rule),
            "criterion": asdict(self.criterion),
        }


def plan(params: Mapping[str, Any]) -> Plan:
    """The plan asked for.

    Raises:
        RigError: a schedule or rule that cannot be kept.
    """
    asked = criterion(params)
    schedule = _schedule(params["probes"], params)
    _require_judged(params, asked, len(schedule.counts))
    rule = StopRule(
        cut_limit=schedule.counts[-1],
        places=asked.places if asked.graded else 0,
        failing=params["failing"],
        successive=params["successive"],
        force_limit_n=asked.limit_n,
    )
    return Plan(schedule, rule, asked)


def _require_judged(params: Mapping[str, Any], asked: Criterion, probes: int) -> None:
    """Refuse a rule by which no edge could ever be called dull.

    Raises:
        RigError: naming the setting.
    """
    failing, successive = params["failing"], params["successive"]
    if asked.graded and not 1 <= failing <= asked.places:
        raise RigError(
            f"{failing} failing places of the {asked.places} that are marked",
            where="failing",
            remedy=f"say how many of them make a probe fail: 1 to {asked.places}; or mark more "
            "with places=",
        )
    if not asked.graded and asked.limit_n is None:
        raise RigError(
            "the force alone is probed, and no force is called dull",
            where="force_limit",
            remedy="give the severing force above which the edge is dull, like force_limit=2N; or "
            "grade it as well: probe=shave,force",
        )
    if not 1 <= successive <= probes:
        raise RigError(
            f"{successive} failing probes in a row, of {probes} in all",
            where="successive",
            remedy=f"2 is usual; it is 1 to {probes}",
        )


def _schedule(kind: str, params: Mapping[str, Any]) -> Schedule:
    if kind == "geometric":
        return geometric(params["first"], _ratio(params["ratio"]), params["limit"])
    if kind == "stepped":
        return stepped(params["step"], params["limit"])
    if kind != "planned":
        raise RigError(f"no probes '{kind}'", where="probes", remedy=f"write {', '.join(KINDS)}")
    if not params["pilot"]:
        raise RigError(
            "planned probes need a pilot life",
            where="pilot",
            remedy="cut a blade like these dull first, or leave probes= out",
        )
    return planned(float(params["pilot"]), params["share"])


def _ratio(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise RigError(
            f"'{text}' is no ratio", where="ratio", remedy="write it like 1.25", value=text
        ) from None


def costs(params: Mapping[str, Any], chosen: Plan) -> str:
    """What the schedule costs in probes and gives in width, for a life like the one expected."""
    counts, schedule = chosen.schedule.counts, chosen.schedule
    life = float(params["pilot"] or round(math.sqrt(counts[0] * counts[-1])))
    width = schedule.width_share(life)
    told = f"; its interval: {width:.0%} of it" if math.isfinite(width) else ""
    return (
        f"Probes after {_listed(counts)} cuts ({schedule.made}): "
        f"{schedule.probes_for(life, chosen.rule.successive - 1)} probes for a life of {life:.0f} "
        f"cuts{told}."
    )


def _listed(counts: tuple[int, ...], most: int = 8) -> str:
    shown = [str(count) for count in counts]
    if len(shown) > most:
        shown = [*shown[: most - 1], "...", shown[-1]]
    return ", ".join(shown)
