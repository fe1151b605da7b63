"""Bytes as received -> checked frames, with every loss accounted for.

The decoder never guesses. A frame counts only when its CRC, its length and its place in the
sequence are right; whatever else arrives is counted as damaged, and every gap in the sequence is
kept with the span of MCU time it lies in, so that a trial can tell whether it was hit.
"""

import zlib
from dataclasses import dataclass, field

from rig.board import wire
from rig.board.wire import Kind

_HEAD = wire.width(wire.HEAD)
_CRC = wire.CRC.septets
_SHORTEST = 1 + _HEAD + _CRC
_SEQ = 1 << wire.SEQ_BITS
_TIME = 1 << wire.TIME_BITS
_LONGEST = 4096  # a sysex longer than this is noise, not a message
_STATUS = wire.LIMITS["STATUS_PERIOD_MS"] * wire.TICK_HZ // 1000
# A block tells of samples two blocks old at most, and the longest (of angles) takes 40 ms, rounded
# up; more is a block the board missed.
_REACH = _STATUS
# What a frame tells of is at most a stalled main loop (0.25 s, then the watchdog resets it) and a
# flooded line (13 ms were seen in the emulation) older than what went before. A boot younger than
# this has used too few numbers to be taken for the one after it.
_LATEST = wire.TICK_HZ
_TELLS_BOOT = (Kind.HELLO, Kind.STATUS)
_BOOTS = {
    kind: (field, wire.width(wire.PAYLOADS[kind][:place]))
    for kind in _TELLS_BOOT
    for place, field in enumerate(wire.PAYLOADS[kind])
    if field.name == "boot"
}
_WIDTHS = {
    kind: (wire.width(channel.prefix), channel.sample.septets, channel.block)
    for kind, channel in wire.CHANNELS.items()
}
_KINDS = {int(kind): kind for kind in Kind}
_EXACT = {kind: wire.width(fields) for kind, fields in wire.PAYLOADS.items()}
_DATA_BYTES = {0x90: 2, 0xE0: 2, 0xC0: 1, 0xD0: 1, 0xF4: 2, 0xF5: 2, 0xF9: 2}


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame that passed every check.

    `ticks` is the MCU time unwrapped to a plain integer (0.5 us nominal), continuous from the
    first frame of a boot. `boots` is how many restarts of the board were seen before it: times of
    two boots are not to be compared.
    """

    kind: Kind
    seq: int
    ticks: int
    payload: bytes
    boots: int = 0

    def fields(self) -> dict[str, int]:
        """The payload's numbers (not for channel frames)."""
        return wire.unpack(wire.PAYLOADS[self.kind], self.payload)


@dataclass(frozen=True, slots=True)
class Message:
    """A plain Firmata message: `command` and its data (the low nibble first where it has one)."""

    command: int
    data: bytes
    sysex: bool = False


@dataclass(frozen=True, slots=True)
class Gap:
    """Frames that never arrived whole, between two that did.

    No sample they held lies outside `after_ticks`..`before_ticks`. That span is wider than the
    times of the two frames: a block carries the time of its first sample, so a lost one may hold
    samples older than the frame before it. Across a reset of the board it is in the old boot's
    time and `missing` is the least there can be.
    """

    missing: int
    after_ticks: int
    before_ticks: int

    def touches(self, start_ticks: int, end_ticks: int) -> bool:
        """Whether any of it may lie inside the span."""
        return self.after_ticks <= end_ticks and self.before_ticks >= start_ticks


@dataclass
class Decoder:
    """Feed it bytes in any pieces; it gives back frames and plain messages in order.

    Attributes:
        damaged: frames or stray runs of bytes that failed a check.
        gaps: every break of the sequence, oldest first.
        boot: boot number of the board, once a HELLO or STATUS told it.
        resets: MCU resets seen since the first frame.
        taken: the bytes consumed by the last `feed`, as received.
    """

    damaged: int = 0
    gaps: list[Gap] = field(default_factory=list)
    boot: int | None = None
    resets: int = 0
    taken: bytes = b""
    _buffer: bytearray = field(default_factory=bytearray)
    _seq: int | None = None
    _ticks: int = 0
    _newest: int = 0

    def feed(self, data: bytes) -> list[Frame | Message]:
        """Frames and messages completed by `data`; the rest waits for more bytes."""
        buffer = self._buffer
        buffer += data
        whole = bytes(buffer)
        found: list[Frame | Message] = []
        at, size = 0, len(whole)
        while at < size:
            first = whole[at]
            if first == wire.START:
                taken = self._sysex_at(whole, at, found)
            else:
                taken = self._plain(whole, at, found)
            if not taken:
                break
            at += taken
        self.taken = whole[:at]
        del buffer[:at]
        return found

    def _sysex_at(self, whole: bytes, at: int, found: list[Frame | Message]) -> int:
        """Bytes used by the sysex message that begins at `at`; 0 when it is not complete yet."""
        limit = at + 1 + _LONGEST
        end = whole.find(wire.END, at + 1, limit)
        inner = whole[at + 1 : end if end > 0 else limit]
        if not inner.isascii():  # cut short: another message starts inside
            self.damaged += 1
            return 1 + next(i for i, byte in enumerate(inner) if byte > 0x7F)
        if end > 0:
            item = self._sysex(inner)
            if item is not None:
                found.append(item)
            return 2 + len(inner)
        if len(inner) < _LONGEST:
            return 0
        self.damaged += 1
        return 1 + len(inner)

    def _plain(self, whole: bytes, at: int, found: list[Frame | Message]) -> int:
        """Bytes used by a non-sysex message at `at`; 0 when it is not complete yet."""
        first = whole[at]
        command = first & 0xF0 if first < wire.START else first
        need = _DATA_BYTES.get(command)
        if need is None:
            self.damaged += first != 0xFF and first != wire.END
            return 1
        data = whole[at + 1 : at + 1 + need]
        if not data.isascii():
            self.damaged += 1
            return 1
        if len(data) < need:
            return 0
        nibble = bytes([first & 0x0F]) if first < wire.START else b""
        found.append(Message(command, nibble + data))
        return 1 + need

    def _sysex(self, inner: bytes) -> Frame | Message | None:
        if not inner:
            self.damaged += 1
            return None
        if inner[0] != wire.FRAME_SYSEX:
            return Message(inner[0], inner[1:], sysex=True)
        frame = self._checked(inner)
        if frame is None:
            self.damaged += 1
        return frame

    def _checked(self, inner: bytes) -> Frame | None:
        if len(inner) < _SHORTEST:
            return None
        body, seal = inner[:-_CRC], inner[-_CRC:]
        c0, c1, c2, c3, c4 = seal
        if zlib.crc32(body) != c0 | c1 << 7 | c2 << 14 | c3 << 21 | c4 << 28:
            return None
        kind = _KINDS.get(body[1])
        payload = body[1 + _HEAD :]
        if kind is None or not _length_fits(kind, len(payload)):
            return None
        seq = body[2] | body[3] << 7
        raw = body[4] | body[5] << 7 | body[6] << 14 | body[7] << 21 | body[8] << 28
        if not self._in_sequence(kind, seq, raw, payload):
            return None
        return Frame(kind, seq, self._ticks, payload, self.resets)

    def _in_sequence(self, kind: Kind, seq: int, raw: int, payload: bytes) -> bool:
        """Place the frame in the sequence; False for one that cannot come now.

        That is a repeat, or a frame of a new boot that has not been told yet: numbers and time
        must go together, since some frame (a STATUS at least) takes a number every 0.1 s.
        """
        boot = self.boot
        if kind in _TELLS_BOOT:
            boot = _boot(kind, payload)
        if self._seq is None:
            self._ticks = self._newest = raw
        else:
            ahead = (seq - self._seq - 1) % _SEQ
            newest = self._newest
            step = (raw - newest + _TIME // 2) % _TIME - _TIME // 2
            fits = ahead < _SEQ // 2 and -_LATEST <= step <= (ahead + 2) * _STATUS
            if boot != self.boot and (self.boot is not None or not fits):
                self.resets += 1
                # Whatever was under way when the board went down is lost, even if nothing is
                # missing by number: the new boot counts from zero.
                self.gaps.append(Gap(seq + 1, newest - _REACH, newest + _STATUS))
                self._newest = raw
                step = raw - newest
            elif not fits and not (kind in _TELLS_BOOT and step > 0):
                return False  # a later STATUS of the same boot ends a long silence instead
            elif ahead or not fits:
                span = sorted((newest, newest + step))
                self.gaps.append(Gap(ahead or _SEQ, span[0] - _REACH, span[1] + _REACH))
            self._ticks = newest + step
            self._newest = max(self._newest, self._ticks)
        self._seq = seq
        self.boot = boot
        return True


def _boot(kind: Kind, payload: bytes) -> int:
    field, at = _BOOTS[kind]
    return wire.number(payload[at : at + field.septets], field)


def _length_fits(kind: Kind, length: int) -> bool:
    if kind not in _WIDTHS:
        return length == _EXACT[kind]
    prefix, each, block = _WIDTHS[kind]
    samples, odd = divmod(length - prefix, each)
    return odd == 0 and 1 <= samples <= block
