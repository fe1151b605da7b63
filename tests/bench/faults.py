"""A board that restarts, hangs, is unplugged or falls silent at any instant of any procedure.

`python -m tests.bench.faults` brings about every fault at every 5 ms of everything that is
recorded, on both boards: that takes many hours. `make bench` takes the fall whole on the stand-in,
the rest more sparsely and the faults in turn.
"""

import json
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from rig.virtual.tower.plant import Tower
from tests.bench.figure import exactly
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.guide.damaged import DAMAGE, EVERY_S, Recorded, frames_of, one_of_each
from tests.guide.faultyruns import GIVEN, Chosen, MakeBoard, Setup, in_turn, stand_in
from tests.guide.forked import EMULATED, STAND_IN, Came, Fault

ELSEWHERE_S = {"drop_impact": 1.005, "pry_to_failure": 1.505, "edge_twist": 1.505,
               "cuts_to_dull": 0.255}  # fmt: skip
"""In turn, one fault so often where nothing falls: a child there runs on for half a minute."""


def emulated(tower: Tower, **wired: Any) -> EmulatedBoard:
    """The real image, executed instruction by instruction."""
    return EmulatedBoard(build_image(), tower, resonator_error=0.004, **wired)


BOARDS: Mapping[str, tuple[MakeBoard, Mapping[str, Fault]]] = {
    "stand-in": (stand_in, STAND_IN), "emulated": (emulated, EMULATED),
}  # fmt: skip


def falling(setup: Setup, _: float) -> Iterator[str]:
    """Every fault every 5 ms (a step of the link) of the last drop while a coil draws current."""
    if setup.in_last_fall():
        yield from STAND_IN


def always(_: Setup, __: float) -> Iterator[str]:
    """Every fault every 5 ms of what is recorded."""
    yield from STAND_IN


def figures() -> Iterator[dict[str, Any]]:
    """Runs that did not end well, and records that a measurement could not read."""
    came = _swept("drop_impact", "stand-in", falling)
    yield from _counted("every 5 ms of a fall, each of four faults, stand-in", came)
    came = _swept("drop_impact", "emulated", in_turn(0.02, Setup.in_last_fall))
    yield from _counted("every 20 ms of a fall, faults in turn, emulated", came)
    for board, sparser in (("stand-in", 1), ("emulated", 8)):
        for procedure in GIVEN:
            came = _swept(procedure, board, in_turn(sparser * ELSEWHERE_S[procedure]))
            yield from _counted(f"{procedure}, faults in turn, {board}", came)
    yield from _records(4 * EVERY_S)


def whole() -> Iterator[dict[str, Any]]:
    """All that there is: every fault, every 5 ms, every procedure, both boards."""
    for board in BOARDS:
        for procedure in GIVEN:
            yield from _counted(f"{procedure}, {board}", _swept(procedure, board, always))
    yield from _records(EVERY_S)


def _swept(procedure: str, board: str, chosen: Chosen) -> list[Came]:
    make, faults = BOARDS[board]
    with tempfile.TemporaryDirectory() as folder:
        return Setup(procedure, make).swept(Path(folder), chosen, faults)


def _counted(what: str, came: list[Came]) -> list[dict[str, Any]]:
    broke = sum(bool(one.broke) for one in came)
    open_ = sum(one.ended == "open" for one in came)
    unsound = sum(bool(one.findings) for one in came)
    return [
        exactly(f"{what}: tracebacks of {len(came)}", broke, "runs", 0),
        exactly(f"{what}: neither resumed to the end nor closed", open_, "runs", 0),
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
    for line in whole():
        print(json.dumps(line), flush=True)
