"""A plan in words: what it asks for, on what it rests, and what it costs."""

import math

from rig.study.answers.plan_scatter import LIFE
from rig.study.answers.planning import Planned
from rig.study.register.responses import KINDS
from rig.study.statistics.data import LOG
from rig.study.statistics.life_scatter import USUAL_PROBES
from rig.study.statistics.phrases import HOPELESS, TWICE, many, share, size, times
from rig.study.statistics.plan import NAMES, StudyPlan
from rig.study.statistics.units import BLADE, LOAD, PAIR_IN_LOAD
from rig.study.statistics.verdict import LEVEL

NEAR_END = 0.93  # chance of "ruled out" from which more blades gain next to nothing
UNLIKELY = 0.5  # chance below which "ruled out" is not to be counted on


def in_words(planned: Planned) -> list[str]:
    """What the plan asks for, on what it rests, and what it costs; a line each."""
    plan, response = planned.plan, planned.response
    wanted = size(response, response.smallest)
    head = f"a difference of {wanted} would take more than 1,000 {NAMES[plan.design.unit]}"
    if plan.units is not None:
        head = f"{_asked(plan, plan.units)} find a difference of {wanted} in 8 studies of 10"
    lines = [head, f"{planned.source}; {many(plan.repeats, 'trial')} a blade"]
    lines += filter(None, (planned.loads, *_of_loads(plan), _cheaper(planned)))
    if KINDS[planned.name].field == LIFE:
        lines.append(
            f"probes {USUAL_PROBES:g} times apart are in it, and no edge still sharp at the end: "
            "probes further apart, or a test that ends early, ask for more blades"
        )
    if planned.point_units is not None and planned.point_units != plan.units:
        lines.append(
            f"at the very scatter the pilot met {planned.point_units} would do, but a pilot this "
            "small may have met too little of it"
        )
    if len(planned.repeats) > 1:
        several = ", ".join(
            f"{many(n, 'trial')} {units or 'over 1,000'}" for n, units in planned.repeats
        )
        lines.append(f"{NAMES[plan.design.unit]} by trials on each blade: {several}")
    if planned.bench is not None:
        lines.append(
            f"measuring alone, were all its uncertainty to fall on each blade anew, would let "
            f"{size(response, planned.bench)} be found; what all blades share of it cancels"
        )
    row = next((row for row in plan.rows if row.units == plan.units), None)
    if row is not None and row.ruled_out < UNLIKELY:
        lines.append(
            f"if the groups are truly alike, that many rule out a difference above the margin "
            f"({size(response, response.margin)}) in {_only(row.ruled_out)} of studies: expect "
            '"cannot tell"'
        )
    notes = [one.text for one in plan.reasons if one.name != "too_many"]  # the head says that
    if response.margin > response.smallest:
        notes.append(
            f"the margin ({size(response, response.margin)}) is wider than the difference that "
            f"matters ({wanted}): what is ruled out may still matter"
        )
    return [*lines, *notes, *cost(planned)]


def _asked(plan: StudyPlan, units: int) -> str:
    """So many blades or loads, with the noun that the design counts."""
    each = many(plan.design.each, "blade")
    if plan.design.unit == LOAD:
        return f"{many(units, 'furnace load')} of {each} for each of {plan.groups} groups"
    if plan.design.unit == PAIR_IN_LOAD:
        return f"{many(units, 'furnace load')}, each with {each} of all {plan.groups} groups,"
    return f"{units} blades in each of {plan.groups} groups"


def _of_loads(plan: StudyPlan) -> list[str]:
    """What the furnace loads do to the plan, and what one more of them buys."""
    if plan.design.unit == BLADE:
        return []
    if plan.design.unit == PAIR_IN_LOAD:
        return [
            "furnace loads that hold every group cancel. With one or two it is taken for granted "
            "that a load treats all recipes alike; from three on it is tested, and paid for"
        ]
    two, three = (next(row for row in plan.rows if row.units == n) for n in (2, 3))
    response = plan.response
    return [
        "one furnace load a recipe says nothing of recipes, however many blades it holds: a "
        "difference would be one between loads. A second load buys a chance of "
        f"{two.chance:.0%} to find {size(response, response.smallest)}, a third {three.chance:.0%}"
    ]


def _only(chance: float) -> str:
    return "next to none" if chance < 0.005 else f"only {share(chance)}"


def _cheaper(planned: Planned) -> str:
    """What loads that hold every group would save; "" where they save nothing."""
    plan, shared = planned.plan, planned.shared
    if shared is None or shared.blades is None or shared.blades >= (plan.blades or math.inf):
        return ""
    return (
        f"cheaper: {_asked(shared, shared.units or 0)} find the same with "
        f"{many(shared.blades, 'blade')} in all, since what loads differ by cancels there"
    )


def blind_below(planned: Planned) -> str:
    """What a difference said as a factor means; "" when the plan's table has none."""
    response = planned.response
    coarse = [row for row in planned.plan.rows if TWICE <= row.detectable < math.inf]
    if response.scale != LOG or not coarse:
        return ""
    row = coarse[0]
    units = f"{row.units} {NAMES[planned.plan.design.unit]}"
    if row.detectable > HOPELESS:
        return (
            f"{units} find next to nothing: not even a factor of "
            f"{HOPELESS:g} is found 8 times in 10"
        )
    much = times(row.detectable)
    return f"{units} find a difference only where one group reaches {much} the other"


def never_sure(planned: Planned) -> str:
    """Why the chance to rule out stops short of certainty; "" where no row comes near its end."""
    if not any(row.ruled_out >= NEAR_END for row in planned.plan.rows):
        return ""
    return (
        f"the chance to rule out ends near {1 - LEVEL:.0%} however many blades there are: in about "
        f"{100 * LEVEL:.0f} of 100 studies of groups truly alike chance alone shows a difference"
    )


def cost(planned: Planned) -> list[str]:
    """Trials, bench time and media for the blades asked for."""
    plan, kind = planned.plan, KINDS[planned.name]
    if plan.trials is None:
        return []
    hours = plan.trials * kind.minutes / 60
    text = f"{plan.blades} blades, {plan.trials} trials, about {_hours(hours)} hours at the bench"
    return [text + (f", {plan.trials} times: {kind.media}" if kind.media else "")]


def _hours(hours: float) -> str:
    """Two figures below ten hours, whole ones above."""
    return f"{hours:.2g}" if hours < 10 else f"{hours:.0f}"


def whole_cost(planned: list[Planned]) -> str:
    """All responses together: as many blades as the one that asks for most, all of them tested in
    every way; responses of one procedure share its trials."""
    known = [one for one in planned if one.plan.blades is not None]
    if not known:
        return "All together: more blades than can be planned"
    most = max(known, key=lambda one: one.plan.blades or 0)
    blades, per_blade = most.plan.blades or 0, _trials_a_blade(known)
    trials = blades * sum(count for count, _ in per_blade)
    hours = blades * sum(count * minutes for count, minutes in per_blade) / 60
    why = f": {most.response.name} asks for most" if len({x.plan.blades for x in known}) > 1 else ""
    left_out = [one.response.name for one in planned if one.plan.blades is None]
    but = f"; for {', '.join(left_out)} no number of blades is enough" if left_out else ""
    return (
        f"All together: {many(blades, 'blade')} ({_asked(most.plan, most.plan.units or 0)}{why}), "
        f"{many(trials, 'trial')} with every test on each, about {_hours(hours)} hours at the "
        f"bench (without making the blades){but}"
    )


def _trials_a_blade(planned: list[Planned]) -> list[tuple[int, float]]:
    """Procedure by procedure: trials on each blade, and minutes of one."""
    told: dict[str, tuple[int, float]] = {}
    for one in planned:
        kind = KINDS[one.name]
        told[kind.procedure] = max(
            told.get(kind.procedure, (0, 0.0)), (one.plan.repeats, kind.minutes)
        )
    return list(told.values())
