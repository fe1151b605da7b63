"""A study record's plan: response by response, in numbers and in words."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from rig.study.data import LOG, Response
from rig.study.lifescatter import USUAL_PROBES
from rig.study.phrases import TWICE, begin, many, number, size
from rig.study.pilot import Pilot
from rig.study.plan import Scatter, StudyPlan, plan_study
from rig.study.power import detectable_scatters, fewest, found
from rig.study.record import ResponseRecord, StudyRecord
from rig.study.responses import KINDS
from rig.study.verdict import LEVEL

LIFE = "life"
REPEATS = (1, 2, 3)
HOPELESS = 20.0  # a ratio above which the exact figure helps nobody
NEAR_END = 0.93  # chance of "ruled out" from which more blades gain next to nothing
UNLIKELY = 0.5  # chance below which "ruled out" is not to be counted on


@dataclass(frozen=True)
class Planned:
    """The plan of one response.

    Attributes:
        name: of the response in the study file.
        source: where the scatter comes from, in words.
        upper_units: blades a group at the upper limit of a pilot's scatter; None without a pilot.
        bench: smallest difference that blades without any scatter would show, for the bench's own
            uncertainty and the blades planned; None when that is not known.
        repeats: blades a group for so many trials a blade; empty when nothing is known of it.
    """

    name: str
    plan: StudyPlan
    source: str
    upper_units: int | None = None
    bench: float | None = None
    repeats: tuple[tuple[int, int | None], ...] = ()

    @property
    def response(self) -> Response:
        """What is compared."""
        return self.plan.response


def plans(record: StudyRecord, pilots: Mapping[str, Pilot] | None = None) -> list[Planned]:
    """The plan of every response: from a pilot, else as stated, else with the usual scatter."""
    return [_planned(one, record, (pilots or {}).get(one.name)) for one in record.response]


def blades_asked(response: ResponseRecord, record: StudyRecord) -> int | None:
    """Blades a group that the stated scatter asks for; None when more than can be planned."""
    what, scatter = response.response(), _blurred(response, response.scatter or 0.0)
    spread = scatter.of_means(what.scale, response.repeats)
    groups = max(len(record.group), 2)
    pairs = groups - 1 if record.control is not None else groups * (groups - 1) // 2
    wanted = what.inward(what.smallest) / spread
    return fewest(lambda n: found(wanted, n, pairs))


def _planned(response: ResponseRecord, record: StudyRecord, pilot: Pilot | None) -> Planned:
    scatter, source = _scatter(response, pilot)

    def at(scatter: Scatter, repeats: int) -> StudyPlan:
        return plan_study(
            response.response(), max(len(record.group), 2), scatter, repeats,
            record.control is not None, _is_life(response),
        )  # fmt: skip

    plan = at(scatter, response.repeats)
    repeats = tuple((n, at(scatter, n).units) for n in REPEATS) if scatter.within > 0 else ()
    upper = bench = None
    if pilot is not None:
        upper = at(Scatter(pilot.upper, scatter.within), response.repeats).units
        bench = _by_bench(response, pilot, plan)
    return Planned(response.name, plan, source, upper, bench, repeats)


def _scatter(response: ResponseRecord, pilot: Pilot | None) -> tuple[Scatter, str]:
    if pilot is not None and pilot.between > 0:
        source = f"{many(pilot.blades, 'blade')} of the pilot"
        text = f"scatter {_amount(response, pilot.between)} from {source}"
        return Scatter(pilot.between, pilot.within), text
    if response.scatter is not None:
        text = f"scatter {_amount(response, response.scatter)} as the study states"
        return _blurred(response, response.scatter), text
    usual = response.kind.usual
    return _blurred(response, usual), (
        f"scatter {_amount(response, usual)} taken as usual (nobody's measurement: a pilot of "
        "three blades is better)"
    )


def _blurred(response: ResponseRecord, between: float) -> Scatter:
    """With what the usual probes add to lives; a pilot's scatter holds that already."""
    return Scatter(between, response.within, USUAL_PROBES if _is_life(response) else 1.0)


def _is_life(response: ResponseRecord) -> bool:
    return response.kind.field == LIFE


def _amount(response: ResponseRecord, value: float) -> str:
    if response.response().scale == LOG:
        return f"{100 * value:.2g} %"
    return f"{number(value)} {response.kind.unit}"


def _by_bench(response: ResponseRecord, pilot: Pilot, plan: StudyPlan) -> float | None:
    """What uncertainty of measurement alone would let through, at the blades planned."""
    if pilot.u <= 0 or plan.units is None:
        return None
    spread = Scatter(pilot.u).of_means(plan.response.scale, response.repeats)
    return plan.response.outward(spread * detectable_scatters(plan.units, plan.comparisons))


def here(record: StudyRecord) -> int:
    """Blades a group as entered: the smallest group's number."""
    counts = Counter(blade.group for blade in record.blade)
    return min((counts[group.name] for group in record.group), default=0)


def in_words(planned: Planned) -> list[str]:
    """What the plan asks for, on what it rests, and what it costs; a line each."""
    plan, response = planned.plan, planned.response
    wanted = size(response, response.smallest)
    if plan.units is None:
        head = f"a difference of {wanted} would take more than 1,000 blades a group: ask for more"
    else:
        head = (
            f"{plan.units} blades in each of {plan.groups} groups find a difference of {wanted} in "
            "8 studies of 10"
        )
    lines = [head, f"{planned.source}; {many(plan.repeats, 'trial')} a blade"]
    if KINDS[planned.name].field == LIFE:
        lines.append(
            f"probes {USUAL_PROBES:g} times apart are in it, and no edge still sharp at the end: "
            "probes further apart, or a test that ends early, ask for more blades"
        )
    if planned.upper_units is not None and planned.upper_units != plan.units:
        lines.append(
            f"a pilot this small may miss the true scatter: {planned.upper_units} blades a group "
            "are safe in 4 of 5 cases"
        )
    if len(planned.repeats) > 1:
        several = ", ".join(
            f"{many(n, 'trial')} {units or 'over 1,000'}" for n, units in planned.repeats
        )
        lines.append(f"blades a group by trials on each: {several}")
    if planned.bench is not None:
        lines.append(
            f"measuring alone, were all its uncertainty to fall on each blade anew, would let "
            f"{size(response, planned.bench)} be found; what all blades share of it cancels"
        )
    row = next((row for row in plan.rows if row.units == plan.units), None)
    if row is not None and row.ruled_out < UNLIKELY:
        lines.append(
            f"if the groups are truly alike, that many rule out a difference above the margin "
            f"({size(response, response.margin)}) in only {row.ruled_out:.0%} of studies: expect "
            '"cannot tell"'
        )
    notes = [one.text for one in plan.reasons if one.name != "too_many"]  # the head says that
    if response.margin > response.smallest:
        notes.append(
            f"the margin ({size(response, response.margin)}) is wider than the difference that "
            f"matters ({wanted}): what is ruled out may still matter"
        )
    return [*lines, *notes, *cost(planned)]


def blind_below(planned: Planned) -> str:
    """What a difference said as a factor means; "" when the plan's table has none."""
    response = planned.response
    coarse = [row for row in planned.plan.rows if row.detectable >= TWICE]
    if response.scale != LOG or not coarse:
        return ""
    row = coarse[0]
    if row.detectable > HOPELESS:
        return (
            f"{row.units} blades a group find next to nothing: not even a factor of "
            f"{HOPELESS:g} is found 8 times in 10"
        )
    return (
        f"{row.units} blades a group find only {size(response, row.detectable)}: one group must "
        f"reach about {row.detectable:.2g} times the other"
    )


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
    text = f"{plan.blades} blades, {plan.trials} trials, about {hours:.2g} hours at the bench"
    return [text + (f", {plan.trials} times: {kind.media}" if kind.media else "")]


def whole_cost(planned: list[Planned]) -> str:
    """All responses together: those of one procedure share its trials."""
    most: dict[str, tuple[int, float]] = {}
    for one in planned:
        kind = KINDS[one.name]
        if one.plan.trials is not None and one.plan.trials > most.get(kind.procedure, (0, 0.0))[0]:
            most[kind.procedure] = (one.plan.trials, kind.minutes)
    trials = sum(count for count, _ in most.values())
    hours = sum(count * minutes for count, minutes in most.values()) / 60
    return (
        f"{begin('all')} together: {many(trials, 'trial')}, about {hours:.2g} hours at the bench "
        "(without making the blades)"
    )
