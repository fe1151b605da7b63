"""Towers as shops have them: which of their faults make a wrong number that looks good.

Each line is one effect and one quantity. A line that is short names what the program does not see
yet; it stays short until the cause is mended.
"""

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np

from rig.bench import load
from rig.guide.measures import drop
from tests.bench.figure import at_most
from tests.shop.counting import Tally
from tests.shop.tower_drop import ALL_BUT, EFFECTS, drawn, feed

DROPS = 300
SEED = 47
SILENT = {1.0: 0.07, 3.0: 0.10}
"""Silently wrong at the most, by the size of the effect: ours."""
REFUSED = 0.03
PAIRS = 12
QUANTITIES = ("impact_energy", "rebound_energy", "second_strike_energy")
GOOD = {(), ("rod that dents",), ("a stray gate pulse",)}
"""With these a drop is a good one, and a refusal costs a site of an edge."""


def tower(effects: tuple[str, ...], size: float, drops: int, first: int = 0) -> Tally:
    """That many drops of towers with these effects on them; the catch fails in every second."""
    bench, told = load(None), Tally()
    for number in range(first, first + drops):
        rng = np.random.default_rng([SEED, number])
        fed = feed(drawn(rng, effects, size, caught=number % 2 == 0), bench, rng)
        truth = {name: value for name, value in fed.truth.items() if value > 0}
        told.add(drop(fed.raw, fed.settings), truth, facts=("second_strike",))
    return told


def cases() -> list[tuple[tuple[str, ...], float]]:
    """Effects alone at two sizes, pairs drawn at random, all together."""
    rng = np.random.default_rng(SEED)
    alone = [((name,), size) for name in EFFECTS for size in SILENT]
    pairs = list(combinations(EFFECTS, 2))
    drawn_pairs = [(pairs[i], 1.0) for i in sorted(rng.choice(len(pairs), PAIRS, replace=False))]
    together = tuple(name for name in EFFECTS if name not in ALL_BUT)
    return [((), 1.0), *alone, *drawn_pairs, (together, 1.0)]


def figures(drops: int = DROPS, processes: int = 2) -> Iterator[dict[str, Any]]:
    """For each case and quantity the share silently wrong; good drops refused."""
    with ProcessPoolExecutor(processes) as pool:
        told = pool.map(partial(_told, drops=drops), cases(), chunksize=1)
        for (effects, size), tally in zip(cases(), told, strict=True):
            yield from lines("tower", QUANTITIES, effects, size, tally)


def _told(case: tuple[tuple[str, ...], float], drops: int) -> Tally:
    return tower(*case, drops)


def lines(
    jig: str, quantities: tuple[str, ...], effects: tuple[str, ...], size: float, tally: Tally
) -> Iterator[dict[str, Any]]:
    """The figures of one case."""
    what = " and ".join(effects) if len(effects) < 3 else "all together"
    head = f"{jig}, {what or 'in order'}, {size:g} times nominal"
    for name in quantities:
        held = f"its interval holds the truth in {tally.share_held(name):.2f}"
        words = f"{head}: {name.replace('_', ' ')} silently wrong ({held})"
        yield at_most(words, round(tally.share_silent(name), 4), "share", SILENT[size])
    if effects in GOOD:
        why = ", ".join(name for name, _ in tally.reasons.most_common(3)) or "nothing"
        words = f"{head}: good trials refused ({why})"
        yield at_most(words, round(tally.share_refused(), 4), "share", REFUSED)
