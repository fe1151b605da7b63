"""Arms, cells and converters as shops have them: which faults make a wrong number that looks good.

As `shop.py`, which says how to read a short line.
"""

from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np

from rig.bench import Bench, load
from rig.guide.jigs import pry, sweep
from rig.guide.measures import reading
from tests.bench.figure import exactly
from tests.bench.shop import SILENT, lines
from tests.shop.arm_trial import EFFECTS, SPOILS, Case, Fed, drawn, feed, moved
from tests.shop.counting import Tally

TRIALS = 200
SPOILT, EACH = 2_000, 20
SEED = 53
PAIRS = 10
QUANTITIES = ("peak_torque", "break_torque", "failure_angle", "energy")
STATED_AS = {"energy": "energy_to_failure"}
"""Names of the program's own, where they differ from the truth's."""
WHERE = ("pull", "zero", "zero after", "sweep")


def measured(fed: Fed) -> tuple[dict[str, Any], set[str]]:
    """What the program makes of one trial; and what stands against zero or sweep before it."""
    told = {"channel": "load", "name_spikes": True}
    zero, after = reading(fed.zero, told), reading(fed.zero_after, told)
    swept = sweep(fed.sweep, {**fed.settings, "zero": zero})
    before = {reason["name"] for part in (zero, after, swept) for reason in part["reasons"]}
    if before:
        return {"reasons": [{"name": name} for name in before], "measurands": {}}, before
    settings = {**fed.settings, "zero": zero, "zero_after": after, "sweep": swept}
    return pry(fed.raw, settings), set()


def trials(effects: tuple[str, ...], size: float, count: int, wire: bool = False,
           bends: bool = False) -> Tally:  # fmt: skip
    """That many pries with these effects on them."""
    bench, told = load(None), Tally()
    for number in range(count):
        rng = np.random.default_rng([SEED, number])
        told.add(*_judged(bench, drawn(rng, effects, size, wire, bends), rng))
    return told


def _judged(
    bench: Bench, case: Case, rng: np.random.Generator
) -> tuple[Mapping[str, Any], dict[str, float]]:
    fed = feed(case, bench, rng)
    truth = {STATED_AS.get(name, name): value for name, value in fed.truth.items()}
    return measured(fed)[0], truth


def spoilt(count: int, first: int = 0) -> Tally:
    """Pries with one conversion spoilt, anywhere in them; `EACH` of every pull.

    Held against the same trial without that conversion, so that only what it did is counted.
    """
    bench, told = load(None), Tally()
    for number in range(first, first + count):
        rng = np.random.default_rng([SEED + 1, number])
        if not (number - first) % EACH:
            whole = drawn(rng)
            motions = moved(whole)
        kind, where = str(rng.choice(list(SPOILS))), str(rng.choice(WHERE, p=(0.7, 0.1, 0.1, 0.1)))
        case = whole.having(spoilt=kind, spoilt_in=where, spoilt_at=float(rng.uniform(0, 1)))
        clean, struck = (
            measured(feed(one, bench, np.random.default_rng([SEED + 2, number]), motions))[0]
            for one in (whole, case)
        )
        told.add(struck, {name: m["value"] for name, m in clean["measurands"].items()})
    return told


def cases() -> list[tuple[tuple[str, ...], float]]:
    """Effects alone at two sizes, pairs drawn at random, all together."""
    rng = np.random.default_rng(SEED)
    alone = [((name,), size) for name in EFFECTS for size in SILENT]
    pairs = list(combinations(EFFECTS, 2))
    drawn_pairs = [(pairs[i], 1.0) for i in sorted(rng.choice(len(pairs), PAIRS, replace=False))]
    return [((), 1.0), *alone, *drawn_pairs, (tuple(EFFECTS), 1.0)]


def figures(
    count: int = TRIALS, processes: int = 2, spoils: int = SPOILT
) -> Iterator[dict[str, Any]]:
    """For each case and quantity the share silently wrong; good trials refused; spoilt ones."""
    quantities = tuple(STATED_AS.get(name, name) for name in QUANTITIES)
    with ProcessPoolExecutor(processes) as pool:
        told = pool.map(partial(_told, count=count), cases(), chunksize=1)
        for (effects, size), tally in zip(cases(), told, strict=True):
            yield from lines("pry", quantities, effects, size, tally)
        plain = {"rigid stirrup, bends": (False, True), "wire stirrup": (True, False),
                 "wire stirrup, bends": (True, True)}  # fmt: skip
        for name, (wire, bends) in plain.items():
            yield from lines(
                f"pry, {name}", quantities, (), 1.0, trials((), 1.0, count, wire, bends)
            )
        parts = [spoils // 20] * 20
        silent = [
            tally.silent["peak_torque"]
            for tally in pool.map(spoilt, parts, [n * parts[0] for n in range(20)])
        ]
    yield exactly(
        f"pries silently wrong of {spoils} with one conversion spoilt", sum(silent), "1", 0
    )


def _told(case: tuple[tuple[str, ...], float], count: int) -> Tally:
    return trials(*case, count)
