"""What leaves the board: numbered frames, in the firmware's order."""

from functools import lru_cache

from rig.board import wire
from rig.board.wire import CHANNELS, Event, Kind, Reason
from rig.virtual.board.line import VirtualLine

_TIME = 1 << wire.TIME_BITS
_SEQ = 1 << wire.SEQ_BITS
STATUS_COUNTERS = ("rx_dropped", "rx_damaged", "tx_dropped", "illegal_edges", "missed_samples")
COUNTERS = (*STATUS_COUNTERS, "faults", "discarded")


class Reporter:
    """Packs and numbers the frames of one boot.

    Events wait in a queue until `flush`, as they wait for the firmware's main loop.

    Attributes:
        counters: of STATUS and the channels, modulo 128.
        skip_frames: frames still to be lost as by a full queue: numbered, counted, not sent.
    """

    def __init__(self, line: VirtualLine, boot: int) -> None:
        self._line, self._boot = line, boot
        self._seq = 0
        self._events: list[tuple[int, bytes]] = []
        self.counters = dict.fromkeys(COUNTERS, 0)
        self.skip_frames = 0

    def count(self, counter: str) -> None:
        """Count one more."""
        self.counters[counter] = (self.counters[counter] + 1) % 128

    def plain(self, message: bytes, t: float) -> None:
        """A Firmata message."""
        self._line.send(message, t)

    def hello(self, wire_version: int, cause: int, time: int, t: float) -> None:
        """A HELLO frame."""
        major, minor, patch = wire.FIRMWARE_VERSION
        values = {
            "wire": wire_version,
            "major": major,
            "minor": minor,
            "patch": patch,
            "description": wire.description(),
            "boot": self._boot,
            "reset_cause": cause,
            "height_period": CHANNELS[Kind.HEIGHT].period_ticks,
        }
        self._frame(Kind.HELLO, time, wire.pack(wire.PAYLOADS[Kind.HELLO], values), t)

    def status(self, values: dict[str, int], time: int, t: float) -> None:
        """A STATUS frame; boot number and counters are added."""
        told = values | {"boot": self._boot} | self.counters
        self._frame(Kind.STATUS, time, wire.pack(wire.PAYLOADS[Kind.STATUS], told), t)

    def reply(self, head: dict[str, int], answer: tuple[Reason, int], time: int, t: float) -> None:
        """The answer to a command."""
        values = {"op": head["op"], "command_seq": head["seq"]}
        values |= {"reason": answer[0], "value": answer[1]}
        self._frame(Kind.REPLY, time, wire.pack(wire.PAYLOADS[Kind.REPLY], values), t)

    def height(self, counts: list[int], time: int, t: float) -> None:
        """A HEIGHT frame."""
        prefix = wire.pack(CHANNELS[Kind.HEIGHT].prefix, self.counters)
        self._frame(Kind.HEIGHT, time, prefix + b"".join(map(_count, counts)), t)

    def load(self, code: int, time: int, t: float) -> None:
        """A LOAD frame."""
        channel = CHANNELS[Kind.LOAD]
        payload = wire.pack(channel.prefix, self.counters) + wire.septets(code, channel.sample)
        self._frame(Kind.LOAD, time, payload, t)

    def angle(self, sums: list[int], time: int, t: float) -> None:
        """An ANGLE frame; the twin is never too late for a sum."""
        channel = CHANNELS[Kind.ANGLE]
        body = b"".join(wire.septets(one, channel.sample) for one in sums)
        self._frame(Kind.ANGLE, time, wire.pack(channel.prefix, {"missed_samples": 0}) + body, t)

    def stroke(self, values: dict[str, int], time: int, t: float) -> None:
        """A STROKE frame."""
        self._frame(Kind.STROKE, time, wire.pack(wire.PAYLOADS[Kind.STROKE], values), t)

    def counts(self, values: dict[str, int], time: int, t: float) -> None:
        """A COUNTS frame."""
        self._frame(Kind.COUNTS, time, wire.pack(wire.PAYLOADS[Kind.COUNTS], values), t)

    def event(self, code: Event, value: int, extra: int, time: int) -> None:
        """Queue an event."""
        values = {"code": code, "value": value, "extra": extra}
        self._events.append((time, wire.pack(wire.PAYLOADS[Kind.EVENT], values)))

    def flush(self, t: float) -> None:
        """Send the events that wait."""
        for time, payload in self._events:
            self._frame(Kind.EVENT, time, payload, t)
        self._events.clear()

    def _frame(self, kind: Kind, time: int, payload: bytes, t: float) -> None:
        seq, self._seq = self._seq, (self._seq + 1) % _SEQ
        if self.skip_frames > 0:
            self.skip_frames -= 1
            self.count("tx_dropped")
        else:
            self._line.send(wire.frame(kind, seq, time % _TIME, payload), t)


@lru_cache(maxsize=1 << 16)
def _count(count: int) -> bytes:
    return wire.septets(count, CHANNELS[Kind.HEIGHT].sample)
