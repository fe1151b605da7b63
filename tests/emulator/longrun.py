"""Hours of the jig's channels with everything streaming: what is lost, in virtual time."""

from collections.abc import Iterator
from dataclasses import dataclass

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.wire import CHANNELS, Kind, Op
from tests.emulator.bench import Bench, bench, converter, load_all
from tests.emulator.host import BEAT_S

RATE_HZ = 16_033  # of encoder edges: 4 m/s, and in step with nothing
BURST_EVERY_S, BURST_EDGES = 20.0, 16_000
FIELD = CHANNELS[Kind.LOAD].sample
PREFIX = wire.width(CHANNELS[Kind.LOAD].prefix)


@dataclass
class LongRun:
    """Counted as the frames come in.

    Attributes:
        conversions: LOAD frames whose code was the next of the converter's.
        lost: conversions of which no frame came.
        wrong: codes that the converter never gave near there.
        blocks, lost_blocks: ANGLE frames that came, and those that should have between them.
        gaps, damaged: frames by their numbers, and by their checks.
        longest_high_us: of the converter's clock.
    """

    conversions: int = 0
    lost: int = 0
    wrong: int = 0
    blocks: int = 0
    lost_blocks: int = 0
    gaps: int = 0
    damaged: int = 0
    longest_high_us: float = 0.0
    _next: int | None = None
    _angle_ticks: int | None = None

    def load(self, code: int, given: list[tuple[float, int]]) -> None:
        """One LOAD frame."""
        begin = max(0, len(given) - 100) if self._next is None else self._next
        at = next((i for i in range(begin, len(given)) if given[i][1] == code), None)
        if at is None:
            self.wrong += 1
            return
        self.lost += at - begin if self._next is not None else 0
        self.conversions += 1
        self._next = at + 1

    def angle(self, ticks: int) -> None:
        """One ANGLE frame."""
        channel = CHANNELS[Kind.ANGLE]
        if self._angle_ticks is not None:
            apart = (ticks - self._angle_ticks) / channel.period_ticks / channel.block
            self.lost_blocks += round(apart) - 1
        self.blocks += 1
        self._angle_ticks = ticks


def long_run(seconds: float) -> LongRun:
    """Everything streams for `seconds`, with a second of encoder edges in every twenty."""
    b = bench(jig=True)
    load_all(b.host, interval_ms=19)
    told, decoder, given = LongRun(), Decoder(), converter(b).given
    b.board.run(b.board.now_s + BEAT_S)
    decoder.feed(b.board.read_available())
    decoder.damaged = 0  # of the frame that it joined in the midst of
    for frame in _frames(b, decoder, b.board.now_s + seconds):
        if frame.kind is Kind.LOAD:
            told.load(wire.number(frame.payload[PREFIX:], FIELD), given)
        elif frame.kind is Kind.ANGLE:
            told.angle(frame.ticks)
    told.gaps, told.damaged = sum(gap.missing for gap in decoder.gaps), decoder.damaged
    told.longest_high_us = b.board.chip.converter_figures().longest_high / 16
    return told


def _frames(b: Bench, decoder: Decoder, end_s: float) -> Iterator[Frame]:
    board, way, seq = b.board, 1, 0
    burst_s = board.now_s
    while board.now_s < end_s:
        if board.now_s >= burst_s:
            b.tower.counts(board.now_s + 1e-3, 1 / RATE_HZ, way * BURST_EDGES)
            burst_s, way = board.now_s + BURST_EVERY_S, -way
        board.write(wire.command(Op.BEAT, seq % (1 << wire.SEQ_BITS)))
        seq += 1
        board.run(board.now_s + BEAT_S)
        found = decoder.feed(board.read_available())
        yield from (item for item in found if isinstance(item, Frame))
