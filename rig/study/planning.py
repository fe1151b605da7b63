"""A study record's plan: response by response, in numbers and in words."""

from collections import Counter

from rig.study.data import LOG
from rig.study.plan import Scatter, StudyPlan, plan_study
from rig.study.record import StudyRecord
from rig.study.responses import KINDS


def plans(record: StudyRecord) -> tuple[list[StudyPlan], list[str]]:
    """The plan of every response with a stated scatter, and the titles of those without."""
    told, silent = [], []
    for response in record.response:
        if response.scatter is None:
            silent.append(response.kind.title)
            continue
        told.append(
            plan_study(
                response.response(),
                max(len(record.group), 2),
                Scatter(response.scatter, response.within),
                response.repeats,
                record.control is not None,
            )
        )
    return told, silent


def here(record: StudyRecord) -> int:
    """Blades a group as entered: the smallest group's number."""
    counts = Counter(blade.group for blade in record.blade)
    return min((counts[group.name] for group in record.group), default=0)


def in_words(plan: StudyPlan) -> str:
    """What the plan asks for."""
    if plan.units is None:
        return "more than 1,000 blades a group would be needed; ask for a larger difference"
    wanted = plan.response.smallest
    size = f"{wanted - 1:.0%}" if plan.response.scale == LOG else f"{wanted:g} {plan.response.unit}"
    return (
        f"{plan.units} blades in each of {plan.groups} groups find a difference of {size} in "
        "8 studies of 10"
    )


def cost(plan: StudyPlan) -> str:
    """Trials and bench time for the blades asked for."""
    if plan.trials is None:
        return ""
    minutes = next(k.minutes for k in KINDS.values() if k.title == plan.response.name)
    hours = plan.trials * minutes / 60
    return f"{plan.blades} blades, {plan.trials} trials, about {hours:.0f} hours at the bench"
