"""A board that restarts, hangs, is unplugged or falls silent at any instant of any procedure.

`make bench` takes the drop and the cut whole on the stand-in (every fault at every 5 ms of the
trial, a step of the link), the rest more sparsely and the faults in turn; there a run goes on to
its end. `python -m tests.bench.faults` brings about every fault at every 5 ms of every trial, in
four rounds that each give an instant its next fault, and then each fault in its turn at every 5 ms
of all else that is recorded, on both boards: that takes many hours.
`python -m tests.bench.faults drop_impact stand-in trial` takes one of these.
"""

import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import chain, cycle, islice, product
from pathlib import Path
from typing import Any

from rig.virtual.tower.plant import Tower
from tests.bench.figure import exactly
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.guide.damaged import DAMAGE, EVERY_S, Recorded, frames_of, one_of_each
from tests.guide.faultyruns import GIVEN, Chosen, MakeBoard, Setup, in_turn, stand_in
from tests.guide.forked import EMULATED, STAND_IN, Came, Fault

LATER_S = {"drop_impact": 3.3, "pry_to_failure": 9.05, "edge_twist": 9.05, "cuts_to_dull": 2.55}
"""How often in a sparse sweep: a run that goes on to its end takes a second or more each time."""
STEP_S = 0.005


def emulated(tower: Tower, **wired: Any) -> EmulatedBoard:
    """The real image, executed instruction by instruction."""
    return EmulatedBoard(build_image(), tower, resonator_error=0.004, **wired)


BOARDS: Mapping[str, tuple[MakeBoard, Mapping[str, Fault]]] = {
    "stand-in": (stand_in, STAND_IN),
    "emulated": (emulated, EMULATED),
}


def in_trial(setup: Setup, _: float) -> Iterator[str]:
    """Every fault every 5 ms of the trial."""
    if setup.in_trial():
        yield from STAND_IN


def of_round(number: int) -> Chosen:
    """One fault every 5 ms of the trial; the four rounds give every instant all four."""
    names = islice(cycle(STAND_IN), number, None)

    def chosen(setup: Setup, _: float) -> Iterator[str]:
        if setup.in_trial():
            yield next(names)

    return chosen


def elsewhere(every_s: float) -> Chosen:
    """Each fault in its turn, so often in what is recorded beside the trial."""
    return in_turn(every_s, lambda setup: not setup.in_trial())


def figures() -> Iterator[dict[str, Any]]:
    """Runs that did not end well, and records that a measurement could not read."""
    for procedure, board, chosen, what in (
        ("drop_impact", "stand-in", in_trial, "each of four faults every 5 ms of a drop"),
        ("cuts_to_dull", "stand-in", in_trial, "each of four faults every 5 ms of a cut"),
        ("drop_impact", "emulated", in_turn(0.02, Setup.in_trial), "faults in turn in a drop"),
        ("pry_to_failure", "stand-in", in_turn(0.2, Setup.in_trial), "faults in turn in a pull"),
        ("edge_twist", "stand-in", in_turn(0.2, Setup.in_trial), "faults in turn in a twist"),
    ):
        came = _swept(procedure, board, chosen, briefly=True)
        yield from _counted(f"{what}, {board}", came)
    for board, sparser in (("stand-in", 1), ("emulated", 4)):
        for procedure in GIVEN:
            came = _swept(procedure, board, in_turn(sparser * LATER_S[procedure]), briefly=False)
            yield from _counted(f"{procedure} to its end, faults in turn, {board}", came)
    yield from _records(4 * EVERY_S)


def whole(
    procedures: Iterable[str], boards: Iterable[str], parts: Iterable[str]
) -> Iterator[dict[str, Any]]:
    """Every 5 ms: each fault in the trial, the faults in turn elsewhere."""
    for part, (board, procedure) in product(parts, product(boards, procedures)):
        for what, chosen in PARTS[part]():
            came = _swept(procedure, board, chosen, briefly=True)
            yield from _counted(f"{procedure}, {what}, {board}", came)


PARTS: Mapping[str, Callable[[], list[tuple[str, Chosen]]]] = {
    "trial": lambda: [(f"trial, round {n + 1}", of_round(n)) for n in range(len(STAND_IN))],
    "elsewhere": lambda: [("elsewhere", elsewhere(STEP_S))],
}


def _swept(procedure: str, board: str, chosen: Chosen, *, briefly: bool) -> list[Came]:
    make, faults = BOARDS[board]
    with tempfile.TemporaryDirectory() as folder:
        return Setup(procedure, make).swept(
            Path(folder), chosen, faults, briefly, at_once=os.cpu_count() or 1
        )


def _counted(what: str, came: list[Came]) -> list[dict[str, Any]]:
    broke = sum(bool(one.broke) for one in came)
    open_ = sum(not one.broke and not one.findings and not one.good for one in came)
    unsound = sum(bool(one.findings) for one in came)
    return [
        exactly(f"{what}: tracebacks of {len(came)}", broke, "runs", 0),
        exactly(f"{what}: neither gone on with nor closed", open_, "runs", 0),
        exactly(f"{what}: audit or recompute finds something", unsound, "logbooks", 0),
    ]


def _records(every_s: float) -> list[dict[str, Any]]:
    """Every record spoilt in four ways so often."""
    made, raised = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        stretches = one_of_each(Path(folder))
    for one in stretches:
        frames = frames_of(one.raw)
        for at in one.instants(every_s):
            for damage in DAMAGE.values():
                made += 1
                raised += _raises(one, damage(frames, at))
    return [
        exactly(
            f"records spoilt every {1e3 * every_s:g} ms: tracebacks of {made}", raised, "records", 0
        )
    ]


def _raises(one: Recorded, raw: bytes) -> bool:
    try:
        one.result(raw)
    except Exception:  # whatever it is, a person would have seen it
        return True
    return False


if __name__ == "__main__":
    asked = sys.argv[1:]
    lines = whole(
        *([one for one in kind if one in asked] or kind for kind in (GIVEN, BOARDS, PARTS))
    )
    for line in lines if asked else chain(lines, _records(EVERY_S)):
        print(json.dumps(line), flush=True)
