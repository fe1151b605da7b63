"""What reading the line costs the host: our decoder beside pyfirmata2's own loop, same bytes.

pyfirmata2's loop asks the port for one byte at a time, so on a port most of its cost is asking;
from memory it is quick, but then it is not what a host does. Both are measured: through a
pseudo-terminal with pyserial on both sides of the comparison, and from memory.
"""

import io
import json
import os
import sys
import time
import tty
from collections.abc import Callable
from contextlib import closing
from functools import partial
from typing import Any

import serial
from pyfirmata2 import Board

from rig.board import wire
from rig.board.frames import Decoder, Frame, Message
from rig.board.link import Link
from rig.board.samples import Trace, trace
from rig.board.streams import SerialStream
from rig.board.wire import Kind
from tests.bench.figure import at_most, figure
from tests.virtual.worlds import Rig

STREAM_S = 60.0
ROUNDS = 5
RATIO_BAR = 10.0
# From memory pyfirmata2's loop only cuts messages out; checks, time and samples may cost as much.
MEMORY_BAR = 2.0
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


def pieces_of(raw: bytes) -> list[bytes]:
    """What comes between two looks at the line, each ending with a message's end."""
    pieces, at = [], 0
    while at < len(raw):
        end = raw.find(wire.END, at + PIECE) + 1 or len(raw)
        pieces.append(raw[at:end])
        at = end
    return pieces


def ours(pieces: list[bytes]) -> Trace:
    """Checked frames, time-stamped samples."""
    decoder = Decoder()
    items = [item for piece in pieces for item in decoder.feed(piece)]
    return _samples(items)


def _samples(items: list[Frame | Message]) -> Trace:
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


def stock_board(port: object) -> tuple[Board, list[tuple[int, ...]]]:
    """pyfirmata2's board on an open port, and where its loop puts our frames."""
    frames: list[tuple[int, ...]] = []
    board = Board.__new__(Board)
    board.sp, board.samplerThread, board._command_handlers = port, None, {}
    board.analog, board.digital = [], []
    board._set_default_handlers()

    def collect(*data: int) -> None:
        frames.append(data)

    board.add_cmd_handler(wire.FRAME_SYSEX, collect)
    return board, frames


def stock(pieces: list[bytes]) -> list[tuple[int, ...]]:
    """Our frames as pyfirmata2's own loop hands them on: cut out, neither checked nor decoded."""
    board, frames = stock_board(Memory(b"".join(pieces)))
    while board.bytes_available():
        board.iterate()
    return frames


class Wire:
    """A pseudo-terminal: `send` puts bytes on it and waits until the port has them."""

    def __init__(self) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        self.path = os.ttyname(self._far)

    def send(self, data: bytes, waiting: Callable[[], int]) -> None:
        """All of it is there when this returns."""
        os.write(self._near, data)
        while waiting() < len(data):
            time.sleep(0)

    def close(self) -> None:
        """Both ends."""
        os.close(self._near)
        os.close(self._far)


def ours_on_a_port(pieces: list[bytes]) -> tuple[float, Trace]:
    """Processor seconds from port to samples."""
    with closing(Wire()) as line, closing(SerialStream(line.path)) as port:
        decoder, items, spent = Decoder(), [], 0.0
        for piece in pieces:
            line.send(piece, port.inWaiting)
            start = time.process_time()
            items += decoder.feed(port.read_available())
            spent += time.process_time() - start
        start = time.process_time()
        found = _samples(items)
        return spent + time.process_time() - start, found


def stock_on_a_port(pieces: list[bytes]) -> tuple[float, list[tuple[int, ...]]]:
    """Processor seconds from port to raw frames."""
    with closing(Wire()) as line, serial.Serial(line.path, wire.BAUD, timeout=1) as port:
        board, frames = stock_board(port)
        spent = 0.0
        for piece in pieces:
            line.send(piece, board.bytes_available)
            start = time.process_time()
            while board.bytes_available():
                board.iterate()
            spent += time.process_time() - start
        return spent, frames


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
    link.hold_beats(0)
    link._last_heard = 0.0
    start = time.process_time()
    while replay.left:
        link.poll()
    spent = time.process_time() - start
    assert not link.decoder.gaps and not link.decoder.damaged
    return spent / (len(raw) / LINE_BYTES_PER_S)


def _seconds(work: Callable[[list[bytes]], object], pieces: list[bytes]) -> float:
    start = time.process_time()
    work(pieces)
    return time.process_time() - start


def figures(seconds: float = STREAM_S, rounds: int = ROUNDS) -> list[dict[str, Any]]:
    """Costs of both readers, how they compare, and the share of a processor at line rate."""
    raw = recorded(seconds)
    pieces = pieces_of(raw)
    print(f"decoding: {len(raw):,} bytes of a session", file=sys.stderr, flush=True)
    # Turn about, so that a busy machine is busy for both.
    turns = [
        (
            stock_on_a_port(pieces)[0],
            ours_on_a_port(pieces)[0],
            _seconds(stock, pieces),
            _seconds(ours, pieces),
        )
        for _ in range(rounds)
    ]
    stock_us, ours_us, bare_us, whole_us = (
        1e6 * min(side) / len(raw) for side in zip(*turns, strict=True)
    )
    share = min(link_share(raw) for _ in range(rounds))
    ratio = stock_us / ours_us
    print(
        f"decoding, us/byte: on a port {stock_us:.3f} and ours {ours_us:.3f};"
        f" from memory {bare_us:.3f} and ours {whole_us:.3f}",
        file=sys.stderr,
        flush=True,
    )
    return [
        at_most("decoding from a port to checked samples", round(ours_us, 3), "us/byte",
                round(stock_us / RATIO_BAR, 3)),
        figure("decoding from a port, how often faster than pyfirmata2's own loop",
               round(ratio, 1), "times", f">= {RATIO_BAR:g}", ratio >= RATIO_BAR),
        at_most("decoding from memory over pyfirmata2's bare loop",
                round(whole_us / bare_us, 2), "times", MEMORY_BAR),
        at_most("processor share of a link on a full line", round(share, 4), "s/s", SHARE_BAR),
    ]  # fmt: skip


if __name__ == "__main__":
    for line in figures():
        print(json.dumps(line))
