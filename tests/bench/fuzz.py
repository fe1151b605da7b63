"""Ten million random and mutated bytes each way: into the decoder, and into the real firmware."""

import json
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.link import Link
from rig.board.samples import trace
from rig.board.wire import Kind, Op
from rig.virtual.arm.plant import Jig
from rig.virtual.board.converter import Converter
from rig.virtual.tower.plant import Tower
from tests.bench.figure import exactly, figure
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.virtual.carriage import ScriptedCarriage

TOTAL = 10_000_000
BYTE_S = 10 / wire.BAUD
MS = wire.TICK_HZ // 1000
CHUNK = 500  # bytes a turn; 20 ms of the line
DANGEROUS = ("LATCH", "CATCH", "DRIVE")
STATUS = wire.pack(wire.PAYLOADS[Kind.STATUS], {f.name: 1 for f in wire.PAYLOADS[Kind.STATUS]})


def mutated(data: bytes, rng: random.Random) -> bytes:
    """`data` with one or a few things wrong with it."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 5))):
        at = rng.randrange(len(out) + 1)
        match rng.randrange(6):
            case 0 if at < len(out):
                out[at] ^= 1 << rng.randrange(8)
            case 1 if at < len(out):
                out[at] = rng.randrange(256)
            case 2 if at < len(out):
                del out[at]
            case 3:
                out.insert(at, rng.choice((rng.randrange(256), 0xF0, 0xF7, 0xFF, 0x0B)))
            case 4:
                del out[at : at + rng.randrange(12)]
            case _:
                out[at:at] = out[rng.randrange(len(out) + 1) :][: rng.randrange(20)]
    return bytes(out)


def _progress(what: str, done: int, before: int, total: int) -> None:
    if done * 10 // total > before * 10 // total:
        print(f"fuzz: {what}: {done:,} of {total:,} bytes", file=sys.stderr, flush=True)


# -- into the decoder


@dataclass
class Sent:
    """Frames of a board at work, and what was in them."""

    rng: random.Random
    blocks: dict[int, bytes] = field(default_factory=dict)
    _seq: int = 0
    _time: int = 0

    def frame(self) -> bytes:
        """The next one: blocks of height, a STATUS in between."""
        seq, self._seq = self._seq, (self._seq + 1) % (1 << wire.SEQ_BITS)
        if seq % 10 == 0:
            return wire.frame(Kind.STATUS, seq, self._time % (1 << 32), STATUS)
        samples = [self.rng.randrange(-(1 << 15), 1 << 15) for _ in range(10)]
        prefix = {"illegal_edges": 0, "missed_samples": 0}
        whole = wire.block(Kind.HEIGHT, seq, self._time % (1 << 32), prefix, samples)
        self.blocks[self._time] = whole[2 + wire.width(wire.HEAD) : -1 - wire.CRC.septets]
        self._time += 10 * MS
        return whole


def _line(sent: Sent, rng: random.Random) -> Iterator[tuple[bytes, int]]:
    """Pieces of a bad line, and how many of each one's bytes are random or mutated."""
    old: list[bytes] = []
    while True:
        whole = sent.frame()
        old = [*old[-20:], whole]
        choice = rng.random()
        if choice < 0.4:
            yield whole, 0
        elif choice < 0.8:
            bad = mutated(whole, rng)
            yield bad, len(bad)
        elif choice < 0.9:
            again = whole + rng.choice(old)
            yield again, len(again) - len(whole)
        else:
            noise = rng.randbytes(rng.randrange(200))
            yield whole + noise, len(noise)


@dataclass(frozen=True)
class Heard:
    """What the decoder made of it."""

    bad_bytes: int
    crashes: int
    blocks: int
    wrong_samples: int
    damaged: int


def into_decoder(total: int = TOTAL, seed: int = 1) -> Heard:
    """Feed until `total` random and mutated bytes have gone in, whole frames between them."""
    rng = random.Random(seed)
    sent, decoder = Sent(rng), Decoder()
    bad = crashes = blocks = wrong = damaged = 0
    rest = b""
    for piece, spoilt in _line(sent, rng):
        if bad >= total:
            break
        _progress("decoder", bad + spoilt, bad, total)
        bad += spoilt
        cut = rng.randrange(len(rest + piece) + 1)
        now, rest = (rest + piece)[:cut], (rest + piece)[cut:]
        try:
            found = [item for item in decoder.feed(now) if isinstance(item, Frame)]
        except Exception as error:  # the very thing that is looked for
            print(f"fuzz: decoder: {error!r}", file=sys.stderr, flush=True)
            crashes += 1
            damaged += decoder.damaged
            decoder = Decoder()
            continue
        for block in (frame for frame in found if frame.kind is Kind.HEIGHT):
            blocks += 1
            wrong += _wrong_samples(block, sent.blocks)
    return Heard(bad, crashes, blocks, wrong, damaged + decoder.damaged)


def _wrong_samples(block: Frame, sent: dict[int, bytes]) -> int:
    """Samples whose time or count was not sent."""
    if sent.get(block.ticks) == block.payload:
        return 0
    return len(trace([block], Kind.HEIGHT).ticks)


# -- into the firmware


def commands(rng: random.Random) -> Iterator[tuple[bytes, bool]]:
    """Commands whole and mutated, Firmata at every pin, and noise; and whether it is whole."""
    for seq in range(sys.maxsize):
        op = rng.choice(list(Op))
        values = {
            f.name: rng.randrange(-(1 << f.bits - 1), 1 << f.bits - 1)
            if f.signed
            else rng.randrange(1 << f.bits)
            for f in wire.COMMANDS[op]
        }
        if op is Op.ARM and rng.random() < 0.7:
            values = {"low": -30, "high": 30}  # where the carriage rests: this one is granted
        if op is Op.STREAM and rng.random() < 0.7:
            values = {"channel": rng.choice(list(wire.CHANNELS)), "on": int(rng.random() < 0.8)}
        whole = wire.command(op, seq % (1 << wire.SEQ_BITS), **values)
        pin, value = rng.randrange(128), rng.randrange(128)
        match rng.randrange(8):
            case 0 | 1:
                yield whole, True
            case 2 | 3 | 4:
                yield mutated(whole, rng), False
            case 5:
                yield bytes([rng.choice((0xF4, 0xF5)), pin % 24, value % 12]), False
            case 6:
                yield bytes([rng.choice((0x90, 0xC0, 0xD0, 0xE0)) | pin & 15, pin, value]), False
            case _:
                yield rng.randbytes(rng.randrange(100)), False
        if seq % 20 == 0:
            yield wire.command(Op.BEAT, seq % (1 << wire.SEQ_BITS)), True


@dataclass(frozen=True)
class Survived:
    """What became of the firmware."""

    bad_bytes: int
    answers: bool
    resets: int
    energised: int
    damaged_out: int
    armed: int


def into_firmware(total: int = TOTAL, seed: int = 2) -> Survived:
    """Feed until `total` random and mutated bytes have gone in, whole commands between them.

    At the full speed of the line; then ask whether the board is well.
    """
    jig = Jig()
    board = EmulatedBoard(
        build_image(), Tower(), jig=jig, converter=Converter(jig), carriage=ScriptedCarriage()
    )
    source = commands(random.Random(seed))
    board.run(1.0)
    decoder, before = Decoder(), board.counters().resets
    done = armed = 0
    waiting = b""
    while done < total:
        earlier = done
        while len(waiting) < CHUNK:
            piece, whole = next(source)
            waiting += piece
            done += 0 if whole else len(piece)
        _progress("firmware", done, earlier, total)
        chunk, waiting = waiting[:CHUNK], waiting[CHUNK:]
        board.write(chunk)
        board.run(board.now_s + len(chunk) * BYTE_S)
        found = decoder.feed(board.read_available())
        frames = [item for item in found if isinstance(item, Frame)]
        armed += sum(_armed(frame) for frame in frames)
    board.write(b"\xff")
    board.run(board.now_s + 0.2)
    board.read_available()
    link = Link(board, clock=board.clock, name="fuzzed board")
    answers = link.command(Op.HELLO).done and link.command(Op.DISARM).done
    energised = sum(change.name in DANGEROUS and change.on for change in board.outputs)
    resets = board.counters().resets - before
    return Survived(done, answers, resets, energised, decoder.damaged, armed)


def _armed(frame: Frame) -> bool:
    if frame.kind is not Kind.REPLY:
        return False
    told = frame.fields()
    return told["op"] in (Op.ARM, Op.DRIVE_ARM) and told["reason"] == wire.Reason.NONE


def figures(total: int = TOTAL) -> list[dict[str, Any]]:
    """What ten million bytes each way did."""
    heard, survived = into_decoder(total), into_firmware(total)
    return [
        exactly(f"decoder: exceptions in {total:,} random and mutated bytes", heard.crashes, "", 0),
        exactly("decoder: wrong samples accepted", heard.wrong_samples, "samples", 0),
        figure("decoder: true blocks taken among them", heard.blocks, "blocks", "> 0",
               heard.blocks > 0),
        exactly(f"firmware: resets in {total:,} random and mutated bytes", survived.resets, "", 0),
        exactly("firmware: times a solenoid or the drive was energised", survived.energised, "", 0),
        figure("firmware: times drop or drive was armed meanwhile", survived.armed, "", "> 0",
               survived.armed > 0),
        exactly("firmware: damaged frames it sent", survived.damaged_out, "frames", 0),
        exactly("firmware: answers afterwards", int(survived.answers), "", 1),
    ]  # fmt: skip


if __name__ == "__main__":
    for told in figures():
        print(json.dumps(told))
