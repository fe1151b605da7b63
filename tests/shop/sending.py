"""What happened at the board, as the bytes that it would have sent."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rig.board import wire
from rig.board.wire import Event, Kind

Floats = NDArray[np.float64]
HZ = wire.TICK_HZ


@dataclass
class Sender:
    """Collects frames with the tick at which each leaves, and numbers them in that order."""

    boot: int = 3
    _frames: list[tuple[int, Kind, int, bytes]] = field(default_factory=list)

    def event(self, ticks: int, code: Event, value: int, extra: int = 0) -> None:
        """One EVENT at that tick."""
        body = {"code": int(code), "value": value, "extra": extra}
        self._add(ticks, Kind.EVENT, ticks, wire.pack(wire.PAYLOADS[Kind.EVENT], body))

    def status(self, first: int, last: int, inputs: int = 0b0011) -> None:
        """STATUS every 0.1 s: guard closed, e-stop healthy."""
        told = {name.name: 0 for name in wire.PAYLOADS[Kind.STATUS]}
        told |= {"boot": self.boot, "inputs": inputs}
        for ticks in range(first, last, HZ // 10):
            self._add(ticks, Kind.STATUS, ticks, wire.pack(wire.PAYLOADS[Kind.STATUS], told))

    def blocks(self, kind: Kind, first: int, values: list[int]) -> None:
        """Samples a channel's period apart, in its blocks; each leaves after its last sample."""
        channel = wire.CHANNELS[kind]
        for at in range(0, len(values), channel.block):
            some = values[at : at + channel.block]
            start = first + at * channel.period_ticks
            self._samples(kind, start + len(some) * channel.period_ticks, start, some)

    def singles(self, kind: Kind, ticks: list[int], values: list[int]) -> None:
        """Samples that have each a frame and a time of its own."""
        for at, value in zip(ticks, values, strict=True):
            self._samples(kind, at + 100, at, [value])

    def stroke(self, ticks: int, **told: int) -> None:
        """One judged motion of the cutting frame's carriage."""
        self._add(ticks, Kind.STROKE, ticks, wire.pack(wire.PAYLOADS[Kind.STROKE], told))

    def _samples(self, kind: Kind, leaves: int, start: int, values: list[int]) -> None:
        channel = wire.CHANNELS[kind]
        prefix = wire.pack(channel.prefix, {name.name: 0 for name in channel.prefix})
        body = b"".join(wire.septets(value, channel.sample) for value in values)
        self._add(leaves, kind, start, prefix + body)

    def _add(self, leaves: int, kind: Kind, ticks: int, payload: bytes) -> None:
        self._frames.append((leaves, kind, ticks % (1 << wire.TIME_BITS), payload))

    def sent(self) -> bytes:
        """Everything as it comes down the line."""
        ordered = sorted(self._frames, key=lambda frame: frame[0])
        modulo = 1 << wire.SEQ_BITS
        return b"".join(
            wire.frame(kind, seq % modulo, ticks, payload)
            for seq, (_, kind, ticks, payload) in enumerate(ordered)
        )
