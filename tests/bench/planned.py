"""Does a study find what its plan says? The plan's chances against studies simulated for them."""

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np

from rig.study.answers.planning import plans
from rig.study.register.responses import KINDS
from rig.study.statistics.compare import judged_of
from rig.study.statistics.contrasts import contrast, pairs_of
from rig.study.statistics.designs import Design
from rig.study.statistics.plan import StudyPlan
from rig.study.statistics.units import BLADE, LOAD, PAIR_IN_LOAD, layout
from tests.bench.figure import at_most
from tests.bench.valueworlds import World
from tests.study.books import record, response

STUDIES = 2_000
SEED = 311
APART = 0.04
EACH = 2  # blades in a load
LOADS = 0.8  # scatter of loads, in scatters of blades
VALUES = [name for name, kind in KINDS.items() if kind.field != "life"]


def cases() -> Iterator[tuple[str, str, int, int]]:
    """Response, unit, units and groups: every response of values meets every design."""
    for i, name in enumerate(VALUES):
        for j, (units, groups) in enumerate((u, g) for u in (3, 4, 6) for g in (2, 3, 4)):
            yield name, (BLADE, LOAD, PAIR_IN_LOAD)[(i + j) % 3], units, groups


def planned(name: str, unit: str, units: int, groups: int, reach: float) -> StudyPlan:
    """The plan of a study file with so many blades in so many loads.

    Args:
        reach: the difference that matters, over the one found with 80 % power.
    """
    each = 1 if unit == BLADE else EACH
    named = {
        f"{group}{i + 1}": {BLADE: "L", LOAD: f"{group}{i % units}", PAIR_IN_LOAD: f"L{i % units}"}[
            unit
        ]
        for group in "ABCD"[:groups]
        for i in range(units * each)
    }
    blades = dict.fromkeys("ABCD"[:groups], units * each)
    scatter = KINDS[name].usual
    asked = response(name, scatter=scatter, load_scatter=LOADS * scatter)
    for _ in range(2):
        (told,) = plans(record(blades, [asked], loads=named))
        found = next(row.detectable for row in told.plan.rows if row.units == units)
        what = told.response
        asked = {**asked, "smallest": what.outward(reach * what.inward(found))}
    assert told.plan.design == Design(unit, each)
    return told.plan


def found(plan: StudyPlan, units: int, seed: int) -> float:
    """Share of simulated studies that show the first group's difference of the size that matters.

    The world is that of tests/bench/valueworlds.py, in scatters of blades.
    """
    design, rng = plan.design, np.random.default_rng(seed)
    one = Design(design.unit, design.each)
    loads = LOADS if design.unit == LOAD else 0.5  # shared loads: whatever it is, it cancels
    world = World(
        (units * design.each,) * plan.groups,
        loads=0 if design.unit == BLADE else units,
        own=design.unit == LOAD,
        by_load=loads,
    )
    # The plan's scatter of one unit, in scatters of blades.
    unit = one.scatter(1.0, loads)
    truth = plan.response.inward(plan.response.smallest) / plan.scatter * unit
    count = 0
    for _ in range(STUDIES):
        data = world.study(rng)
        laid = layout(data)
        told = [contrast(laid, a, b, data.block_of) for a, b in pairs_of(data)[0]]
        told[0] = replace(told[0], difference=told[0].difference + truth)
        count += bool(judged_of(told, data.response).shown[0])
    return count / STUDIES


def _apart(job: tuple[int, tuple[str, str, int, int]]) -> tuple[str, float]:
    """One plan in words, and how far its chance is from what is found."""
    i, (name, unit, units, groups) = job
    plan = planned(name, unit, units, groups, 1.0 if i % 2 else 0.7)
    row = next(row for row in plan.rows if row.units == units)
    seen = found(plan, units, SEED + i)
    where = f"{name}, {groups} groups, {units} units ({unit}): {row.chance:.3f}, {seen:.3f}"
    return where, abs(row.chance - seen)


def figures() -> list[dict[str, Any]]:
    """The worst of all plans."""
    with ProcessPoolExecutor(2) as pool:
        apart = dict(pool.map(_apart, enumerate(cases())))
    worst = max(apart, key=lambda where: apart[where])
    text = f"chance planned against {STUDIES:,} studies simulated, worst of {len(apart)} plans"
    return [at_most(f"{text} ({worst})", apart[worst], "share", APART)]
