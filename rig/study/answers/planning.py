"""A study record's plan, response by response."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from rig.study.answers.pilot import Pilot
from rig.study.answers.plan_scatter import is_life, scatter_of, with_loads
from rig.study.register.record import ResponseRecord, StudyRecord
from rig.study.statistics.data import Response, is_known
from rig.study.statistics.designs import Design, design_of, units_of
from rig.study.statistics.plan import Scatter, StudyPlan, plan_study
from rig.study.statistics.units import BLADE, LOAD, PAIR_IN_LOAD, unknown_load
from rig.study.statistics.verdict import LEVEL
from rig.study.statistics.welch import detectable, power

REPEATS = (1, 2, 3)


@dataclass(frozen=True)
class Planned:
    """The plan of one response.

    Attributes:
        name: of the response in the study file.
        source: where the scatter comes from, in words.
        point_units: what would do at the very scatter that a pilot met; the plan itself takes the
            limit that four of five pilots lie below. None without a pilot.
        bench: smallest difference that blades without any scatter would show, for the bench's own
            uncertainty and the blades planned; None when that is not known.
        repeats: units for so many trials a blade; empty when nothing is known of it.
        loads: where the scatter of loads comes from, in words; "" where it does not enter.
        shared: the same with loads that hold every group, where each group has loads of its own.
    """

    name: str
    plan: StudyPlan
    source: str
    point_units: int | None = None
    bench: float | None = None
    repeats: tuple[tuple[int, int | None], ...] = ()
    loads: str = ""
    shared: StudyPlan | None = None

    @property
    def response(self) -> Response:
        """What is compared."""
        return self.plan.response


def plans(record: StudyRecord, pilots: Mapping[str, Pilot] | None = None) -> list[Planned]:
    """The plan of every response: from a pilot, else as stated, else with the usual scatter."""
    return [_planned(one, record, (pilots or {}).get(one.name)) for one in record.response]


def blades_asked(response: ResponseRecord, record: StudyRecord) -> int | None:
    """Blades a group that the stated scatter asks for; None when more than can be planned."""
    what, design, (scatter, _) = (
        response.response(),
        design_here(record),
        scatter_of(response, None),
    )
    spread = with_loads(response, scatter, None)[0].of_units(what.scale, response.repeats, design)
    units = design.fewest(what.inward(what.smallest) / spread, _comparisons(record))
    return None if units is None else units * design.each


def _comparisons(record: StudyRecord) -> int:
    groups = max(len(record.group), 2)
    return groups - 1 if record.control is not None else groups * (groups - 1) // 2


def cells_here(record: StudyRecord) -> dict[str, dict[str, list[float]]]:
    """Group -> furnace load -> a nought for each blade, as entered."""
    cells: dict[str, dict[str, list[float]]] = {group.name: {} for group in record.group}
    for blade in record.blade:
        load = blade.load if is_known(blade.load) else unknown_load(blade.group)
        cells[blade.group].setdefault(load, []).append(0.0)
    return cells


def design_here(record: StudyRecord) -> Design:
    """What the study's blades will count as, by the furnace loads entered."""
    return design_of(cells_here(record))


def _planned(response: ResponseRecord, record: StudyRecord, pilot: Pilot | None) -> Planned:
    scatter, source = scatter_of(response, pilot)
    scatter, loads = with_loads(response, scatter, pilot)
    design = design_here(record)

    def at(scatter: Scatter, repeats: int, design: Design = design) -> StudyPlan:
        return plan_study(
            response.response(), max(len(record.group), 2), scatter, repeats,
            record.control is not None, is_life(response) and design.each == 1, design,
        )  # fmt: skip

    plan = at(scatter, response.repeats)
    repeats = tuple((n, at(scatter, n).units) for n in REPEATS) if scatter.within > 0 else ()
    point = bench = None
    if pilot is not None:
        met = replace(scatter, between=pilot.between, loads=pilot.loads or scatter.loads)
        point = at(met, response.repeats).units if pilot.between > 0 else None
        bench = _by_bench(response, pilot, plan)
    if design.unit != LOAD:
        return Planned(response.name, plan, source, point, bench, repeats)
    shared = at(scatter, response.repeats, Design(PAIR_IN_LOAD, design.each))
    return Planned(response.name, plan, source, point, bench, repeats, loads, shared)


def _by_bench(response: ResponseRecord, pilot: Pilot, plan: StudyPlan) -> float | None:
    """What uncertainty of measurement alone would let through, at the blades planned."""
    if pilot.u <= 0 or plan.units is None:
        return None
    spread = Scatter(pilot.u).of_means(plan.response.scale, response.repeats)
    spread = plan.design.scatter(spread, 0.0)
    return plan.response.outward(spread * plan.design.detectable(plan.units, plan.comparisons))


@dataclass(frozen=True)
class AsEntered:
    """What groups of unequal size can show: the pair of them that shows least.

    Attributes:
        sizes: group -> blades or loads.
        detectable: ratio or difference found 8 times in 10; infinite where none is.
        chance: to find the smallest difference that matters.
    """

    sizes: Mapping[str, int]
    detectable: float
    chance: float


def as_entered(planned: Planned, record: StudyRecord) -> AsEntered | None:
    """For groups that are not all of one size and count by blades or loads of their own; else None.

    Each group keeps a scatter of its own, here taken alike (`rig.study.statistics.welch`).
    """
    plan, cells = planned.plan, cells_here(record)
    if plan.design.unit not in (BLADE, LOAD):
        return None
    sizes = {
        name: len(loads) if plan.design.unit == LOAD else sum(map(len, loads.values()))
        for name, loads in cells.items()
    }
    if len(set(sizes.values())) < 2 or min(sizes.values()) < 1:
        return None
    pairs = [
        (sizes[a], sizes[b])
        for a, b in combinations(sizes, 2)
        if record.control is None or record.control in (a, b)
    ]
    level, wanted = LEVEL / len(pairs), plan.response.inward(plan.response.smallest)
    told = [_of_pair(plan, wanted, level, *pair) for pair in pairs]
    return AsEntered(sizes, max(far for far, _ in told), min(chance for _, chance in told))


def _of_pair(plan: StudyPlan, wanted: float, level: float, n1: int, n2: int) -> tuple[float, float]:
    if min(n1, n2) < 2:
        return math.inf, 0.0
    se, share = plan.scatter * math.sqrt(1 / n1 + 1 / n2), n2 / (n1 + n2)
    far = se * detectable(level, n1 - 1, n2 - 1, share)
    return plan.response.outward(far), power(wanted / se, level, n1 - 1, n2 - 1, share)


def here(record: StudyRecord) -> int:
    """Units as entered: blades or loads of the smallest group."""
    return units_of(cells_here(record), design_here(record))
