"""What reading the line costs the host: our decoder beside pyfirmata2's own loop, same bytes."""

import io
import json
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from pyfirmata2 import Board

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.link import Link
from rig.board.samples import Trace, trace
from rig.board.wire import Kind
from tests.bench.figure import at_most, figure
from tests.virtual.worlds import Rig

STREAM_S = 60.0
ROUNDS = 5
RATIO_BAR = 10.0
# A loop that also serves the person and the log may give the line a twentieth of one processor.
SHARE_BAR = 0.05
LINE_BYTES_PER_S = wire.BAUD // 10
PIECE = LINE_BYTES_PER_S // 200  # what comes between two looks at the line, 5 ms apart


def recorded(seconds: float = STREAM_S) -> bytes:
    """A session of a virtual rig as received: heartbeats, 1 kHz height, one whole drop."""
    rig = Rig()
    rig.link.start_record()
    rig.drop()
    rig.link.wait(max(0.0, seconds - rig.board.now_s))
    return rig.link.stop_record()


def ours(raw: bytes) -> Trace:
    """Checked frames, time-stamped samples; bytes come in pieces as from a port."""
    decoder = Decoder()
    items = [
        item for at in range(0, len(raw), PIECE) for item in decoder.feed(raw[at : at + PIECE])
    ]
    return trace([item for item in items if isinstance(item, Frame)], Kind.HEIGHT)


class Memory:
    """A serial port that holds all its bytes already: the kindest port for a loop of reads."""

    def __init__(self, raw: bytes) -> None:
        self._bytes = io.BytesIO(raw)
        self.read = partial(self._bytes.read, 1)
        self._size = len(raw)

    def inWaiting(self) -> int:
        """Bytes left."""
        return self._size - self._bytes.tell()

    def write(self, data: bytes) -> int:
        """Nobody listens."""
        return len(data)

    def close(self) -> None:
        """Nothing to close."""


def stock(raw: bytes) -> list[tuple[int, ...]]:
    """Our frames as pyfirmata2's own loop hands them on: cut out, neither checked nor decoded."""
    port, frames = Memory(raw), []
    board = Board.__new__(Board)
    board.sp, board.samplerThread, board._command_handlers = port, None, {}
    board.analog, board.digital = [], []
    board._set_default_handlers()

    def collect(*data: int) -> None:
        frames.append(data)

    board.add_cmd_handler(wire.FRAME_SYSEX, collect)
    # pyfirmata2 reads a message to its end without a look at what is there, as it does here.
    while board.bytes_available():
        board.iterate()
    return frames


class Replay:
    """A port on which a recording arrives at the full speed of the line; also its clock."""

    def __init__(self, raw: bytes) -> None:
        self._raw, self._at, self._now = raw, 0, 0.0
        self.in_waiting = 0

    def read_available(self) -> bytes:
        """The next 5 ms worth."""
        piece = self._raw[self._at : self._at + PIECE]
        self._at += len(piece)
        self._now += PIECE / LINE_BYTES_PER_S
        return piece

    @property
    def left(self) -> bool:
        """Whether more is to come."""
        return self._at < len(self._raw)

    def now(self) -> float:
        """Seconds of a line that is never idle."""
        return self._now

    def sleep(self, _: float) -> None:
        """Time passes by reading."""

    def write(self, data: bytes) -> int:
        """Heartbeats go nowhere."""
        return len(data)

    def inWaiting(self) -> int:
        """For pyfirmata2's own methods."""
        return 0

    def close(self) -> None:
        """Nothing to close."""


def link_share(raw: bytes) -> float:
    """Processor seconds a whole link needs for each second of a line that is never idle."""
    link: Link = Rig().link
    replay = Replay(raw)
    link.sp = link.clock = replay
    link.decoder = Decoder()
    link._next_beat = link._last_heard = 0.0
    start = time.process_time()
    while replay.left:
        link.poll()
    spent = time.process_time() - start
    assert not link.decoder.gaps and not link.decoder.damaged
    return spent / (len(raw) / LINE_BYTES_PER_S)


def _seconds(work: Callable[[bytes], object], raw: bytes) -> float:
    start = time.process_time()
    work(raw)
    return time.process_time() - start


def figures(seconds: float = STREAM_S, rounds: int = ROUNDS) -> list[dict[str, Any]]:
    """Costs of both readers, their ratio, and the share of a processor at line rate."""
    raw = recorded(seconds)
    print(f"decoding: {len(raw):,} bytes of a session", file=sys.stderr, flush=True)
    frames = stock(raw)
    assert len(ours(raw).ticks) == 10 * sum(frame[0] == Kind.HEIGHT for frame in frames)
    # Turn about, so that a busy machine is busy for both.
    pairs = [(_seconds(stock, raw), _seconds(ours, raw)) for _ in range(rounds)]
    theirs_us, ours_us = (1e6 * min(side) / len(raw) for side in zip(*pairs, strict=True))
    share = min(link_share(raw) for _ in range(rounds))
    ratio = theirs_us / ours_us
    bar = "the other one"
    return [
        figure("decoding: pyfirmata2's own loop", round(theirs_us, 4), "us/byte", bar, True),
        at_most("decoding: ours", round(ours_us, 4), "us/byte", theirs_us / RATIO_BAR),
        figure("decoding: times faster than pyfirmata2's own loop", round(ratio, 1), "",
               f">= {RATIO_BAR:g}", ratio >= RATIO_BAR),
        at_most("processor share of a link on a full line", round(share, 4), "s/s", SHARE_BAR),
    ]  # fmt: skip


if __name__ == "__main__":
    for line in figures():
        print(json.dumps(line))
