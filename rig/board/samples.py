"""Checked frames -> time-stamped samples, many frames at once."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rig.board import wire
from rig.board.frames import Decoder, Frame, Gap
from rig.board.strokes import Counts, StrokeTold, counts, stroke
from rig.board.wire import Kind


@dataclass(frozen=True)
class Trace:
    """One channel's samples in MCU time.

    Attributes:
        ticks: int64, shape (n,), MCU time of each sample (0.5 us nominal), always rising.
        values: int64, shape (n,), in the channel's own unit (counts, codes, sums).
        turns: how far each counter of the channel's prefix went during the trace, by name.
        cut: the board's time ran back here, and what came afterwards is left out.
    """

    ticks: NDArray[np.int64]
    values: NDArray[np.int64]
    turns: Mapping[str, int]
    cut: bool = False


@dataclass(frozen=True)
class Happening:
    """An event with its MCU time; `code`, `value` and `extra` as the wire describes them."""

    ticks: int
    code: wire.Event
    value: int
    extra: int

    @property
    def odd(self) -> bool:
        """Whether it tells of something that is not in the description of the wire."""
        meant = zip(_MEANT.get(self.code, ()), (self.value, self.extra), strict=False)
        return any(words is not None and number not in set(words) for words, number in meant)


_MEANT: Mapping[wire.Event, tuple[type[IntEnum] | None, type[IntEnum] | None]] = {
    wire.Event.STATE: (wire.State, wire.Reason),
    wire.Event.DRIVE: (wire.DriveState, wire.Reason),
    wire.Event.OUTPUT: (wire.Output, None),
    wire.Event.LOAD: (wire.LoadFault, None),
}
"""What value and extra of an event stand for, where they are no plain numbers."""


@dataclass(frozen=True)
class Capture:
    """Everything one recorded stretch of raw bytes holds.

    Traces (one for every channel that the wire describes) and events are those of the boot in which
    it began: a board that restarts counts its time and its height anew. Strokes are told whole,
    whatever the boot; `counts` are the last totals. An event with a state or reason that there is
    none of counts as damaged.
    """

    traces: Mapping[Kind, Trace]
    events: tuple[Happening, ...]
    gaps: tuple[Gap, ...]
    damaged: int
    resets: int
    strokes: tuple[StrokeTold, ...]
    counts: Counts | None

    def __getitem__(self, channel: Kind) -> Trace:
        """The samples of one channel."""
        return self.traces[channel]


def trace(frames: Iterable[Frame], kind: Kind) -> Trace:
    """The samples of one channel; frames of other kinds are passed over."""
    channel = wire.CHANNELS[kind]
    skip, step = wire.width(channel.prefix), channel.sample.septets
    own, cut = _rising([f for f in frames if f.kind is kind], channel.period_ticks, skip, step)
    lengths = np.array([(len(f.payload) - skip) // step for f in own], dtype=np.int64)
    body = np.frombuffer(b"".join(f.payload[skip:] for f in own), dtype=np.uint8)
    parts = body.reshape(-1, step).astype(np.int64)
    values = (parts << (7 * np.arange(step))).sum(axis=1) & ((1 << channel.sample.bits) - 1)
    if channel.sample.signed:
        values -= (values >> channel.sample.bits - 1) << channel.sample.bits
    starts = np.array([f.ticks for f in own], dtype=np.int64)
    within = np.arange(lengths.sum()) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    ticks = np.repeat(starts, lengths) + within * channel.period_ticks
    turns = {
        field.name: _turns([f.payload[at] for f in own]) for at, field in enumerate(channel.prefix)
    }
    return Trace(ticks, values, turns, cut)


def block(frame: Frame) -> list[tuple[int, int]]:
    """Ticks and value of each sample of one channel frame, as it comes: no arrays for so few."""
    channel = wire.CHANNELS[frame.kind]
    field, at = channel.sample, wire.width(channel.prefix)
    starts = range(at, len(frame.payload), field.septets)
    values = [wire.number(frame.payload[i : i + field.septets], field) for i in starts]
    return [(frame.ticks + n * channel.period_ticks, value) for n, value in enumerate(values)]


def _rising(
    frames: list[Frame], period_ticks: int, skip: int, step: int
) -> tuple[list[Frame], bool]:
    """The blocks up to the first that begins before the one before it ended, and if there was."""
    for at, (before, after) in enumerate(pairwise(frames), start=1):
        last = before.ticks + ((len(before.payload) - skip) // step - 1) * period_ticks
        if after.ticks <= last:
            return frames[:at], True
    return frames, False


def _turns(counter: list[int]) -> int:
    """How far a counter kept modulo 128 went, summed over its steps."""
    return sum((b - a) % 128 for a, b in pairwise(counter))


def happening(frame: Frame) -> Happening | None:
    """The event a frame carries; None for one this version has no word for."""
    told = frame.fields()
    try:
        code = wire.Event(told["code"])
    except ValueError:
        return None
    return Happening(frame.ticks, code, told["value"], told["extra"])


def capture(raw: bytes) -> Capture:
    """Decode a recorded stretch afresh: the same bytes always give the same samples."""
    decoder = Decoder()
    frames = [item for item in decoder.feed(raw) if isinstance(item, Frame)]
    first = [f for f in frames if not f.boots]
    heard = (happening(f) for f in first if f.kind is Kind.EVENT)
    events = [event for event in heard if event is not None]
    strokes = (stroke(f) for f in frames if f.kind is Kind.STROKE)
    totals = [f for f in frames if f.kind is Kind.COUNTS]
    return Capture(
        {channel: trace(first, channel) for channel in wire.CHANNELS},
        tuple(event for event in events if not event.odd),
        tuple(decoder.gaps),
        decoder.damaged + sum(event.odd for event in events),
        decoder.resets,
        tuple(told for told in strokes if told is not None),
        counts(totals[-1]) if totals else None,
    )
