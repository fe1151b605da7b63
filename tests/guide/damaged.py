"""Recorded stretches as a failing board or line would have left them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.wire import TICK_HZ, Kind
from rig.guide import kinds
from rig.logbook import Logbook
from rig.logbook.journal import STEP
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, new_book, run

REWIND_TICKS = TICK_HZ // 2  # half a second: a decoder takes frames up to a second late
EVERY_S = 0.005


@dataclass(frozen=True)
class Recorded:
    """One recorded stretch, and what the program computes from it."""

    measurand: str
    raw: bytes
    settings: Mapping[str, Any]

    def result(self, raw: bytes) -> dict[str, Any]:
        """The same measurement from other bytes."""
        return kinds.compute(self.measurand, raw, self.settings)

    def instants(self, every_s: float = EVERY_S) -> list[int]:
        """Numbers of the frames that are the first of their stretch of `every_s`."""
        frames, found, last = frames_of(self.raw), list[int](), -1
        for at, frame in enumerate(frames):
            now = int((frame.ticks - frames[0].ticks) / TICK_HZ / every_s)
            if now > last:
                found.append(at)
                last = now
        return found


def recorded(path: Path) -> list[Recorded]:
    """All stretches of a logbook from which a result was computed."""
    found = []
    with Logbook.open(path, writable=False) as book:
        stored = {result.result_id: result for result in book.results()}
        for row in book.journal(kind=STEP):
            step, outcome = row.body["step"], row.body["outcome"]
            if step["step"] not in ("Measure", "Read"):
                continue
            result = stored[outcome["result_id"]]
            if result.raw_ids:
                raw = book.raw(result.raw_ids[0])[0]
                found.append(Recorded(result.measurand, raw, step.get("settings", step)))
    return found


def one_of_each(folder: Path) -> list[Recorded]:
    """Of each measurand that is computed from a record the last one of a whole run."""
    with new_book(folder) as book:
        run(book, VirtualRig(), *impact(drops="1"))
        paths = [book.path]
    for procedure in ("pry_to_failure", "edge_twist"):
        (folder / procedure).mkdir()
        paths.append(JigRig(TIPS["snap"]).run(folder / procedure, procedure)[0])
    found = {one.measurand: one for path in paths for one in recorded(path)}
    assert set(found) == {"drop", "reading", "no_load_sweep", "pry", "twist"}
    return list(found.values())


def frames_of(raw: bytes) -> list[Frame]:
    """The frames of a stretch."""
    return [item for item in Decoder().feed(raw) if isinstance(item, Frame)]


def _sent(frame: Frame, seq: int, ticks: int) -> bytes:
    time = ticks % (1 << wire.TIME_BITS)
    return wire.frame(frame.kind, seq % (1 << wire.SEQ_BITS), time, frame.payload)


def _all(frames: list[Frame]) -> bytes:
    return b"".join(_sent(frame, frame.seq, frame.ticks) for frame in frames)


def ends(frames: list[Frame], at: int) -> bytes:
    """Nothing comes any more."""
    return _all(frames[:at])


def restarts(frames: list[Frame], at: int) -> bytes:
    """The board restarts: numbers and time begin anew, and a STATUS of the next boot tells it."""
    told = next(f for f in frames if f.kind is Kind.STATUS)
    fields = told.fields()
    later = {**fields, "boot": (fields["boot"] + 1) % (1 << 14)}
    status = wire.pack(wire.PAYLOADS[Kind.STATUS], later)
    anew = [wire.frame(Kind.STATUS, 0, TICK_HZ // 10, status)]
    for number, frame in enumerate((f for f in frames[at:] if f.kind is not Kind.STATUS), 1):
        ticks = TICK_HZ // 10 + frame.ticks - frames[at].ticks
        anew.append(_sent(frame, number, ticks))
    return _all(frames[:at]) + b"".join(anew)


def rewinds(frames: list[Frame], at: int) -> bytes:
    """The board's time jumps back within one boot."""
    late = [_sent(frame, frame.seq, frame.ticks - REWIND_TICKS) for frame in frames[at:]]
    return _all(frames[:at]) + b"".join(late)


def stutters(frames: list[Frame], at: int) -> bytes:
    """One frame is damaged."""
    hurt = bytearray(_sent(frames[at], frames[at].seq, frames[at].ticks))
    hurt[len(hurt) // 2] ^= 0x01
    return _all(frames[:at]) + bytes(hurt) + _all(frames[at + 1 :])


DAMAGE: Mapping[str, Callable[[list[Frame], int], bytes]] = {
    "ends": ends, "restarts": restarts, "rewinds": rewinds, "stutters": stutters,
}  # fmt: skip
TOLD = {"restarts": {"restarted"}, "rewinds": {"time_ran_back", "lost_frames"},
        "stutters": {"lost_frames"}}  # fmt: skip
"""Which reasons must be among the result's, one of them; a record that ends may be long enough."""
