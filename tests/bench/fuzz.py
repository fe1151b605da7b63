"""Ten million random and mutated bytes into the decoder, and into the emulated firmware."""

import random
import sys
from typing import Any

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.samples import trace
from rig.board.wire import Kind, Op
from tests.bench.figure import exactly
from tests.emulator.build import build_image
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.host import Host
from tests.emulator.scripted import ScriptedTower

BYTES = 10_000_000
FRAMES = 400  # frames of one stretch of the sent stream
CHUNK = 2_000


def _stretch(chance: random.Random) -> tuple[bytes, set[tuple[int, int]]]:
    """Height frames as sent, and every (tick, count) in them."""
    sent, raw, count = set(), [], chance.randrange(-20_000, 20_000)
    period = wire.CHANNELS[Kind.HEIGHT].period_ticks
    for seq in range(FRAMES):
        ticks = 1_000_000 + seq * 10 * period
        samples = [count + chance.randrange(-9, 10) for _ in range(10)]
        sent |= {(ticks + i * period, value) for i, value in enumerate(samples)}
        prefix = {"illegal_edges": 0, "missed_samples": 0}
        raw.append(wire.block(Kind.HEIGHT, seq, ticks, prefix, samples))
    return b"".join(raw), sent


def _mutated(chance: random.Random, raw: bytes) -> bytes:
    """Bytes changed, lost, added and repeated; and a stretch of pure noise."""
    data = bytearray(raw)
    for _ in range(len(data) // 60):
        at = chance.randrange(len(data))
        how = chance.randrange(4)
        if how == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif how == 1:
            del data[at]
        elif how == 2:
            data.insert(at, chance.randrange(256))
        else:
            data[at] = chance.randrange(256)
    return bytes(data) + chance.randbytes(len(raw) // 4)


def decoder(size: int, seed: int = 1) -> tuple[int, int, int]:
    """Bytes fed, exceptions, and samples accepted that were never sent."""
    chance, fed, raised, wrong = random.Random(seed), 0, 0, 0
    while fed < size:
        raw, sent = _stretch(chance)
        data = _mutated(chance, raw)
        reader, frames = Decoder(), []
        for at in range(0, len(data), 977):
            try:
                frames += [f for f in reader.feed(data[at : at + 977]) if isinstance(f, Frame)]
            except Exception:
                raised += 1
        got = trace(frames, Kind.HEIGHT)
        wrong += len(set(zip(got.ticks.tolist(), got.values.tolist(), strict=True)) - sent)
        fed += len(data)
    return fed, raised, wrong


def firmware(size: int, seed: int = 1) -> tuple[int, int, int, bool]:
    """Bytes sent, solenoid pins ever on, resets, and whether the board still answers."""
    chance, fed = random.Random(seed), 0
    board = EmulatedBoard(build_image(), ScriptedTower())
    host = Host(board)
    host.run(0.1)
    resets = board.counters().resets
    while fed < size:
        data = _babble(chance)
        board.write(data)
        board.run(board.now_s + len(data) * 10 / wire.BAUD)
        board.read_available()
        fed += len(data)
        if fed // 1_000_000 != (fed - len(data)) // 1_000_000:
            print(f"fuzz: {fed:,} bytes into the firmware", file=sys.stderr, flush=True)
    board.run(board.now_s + 0.2)
    energised = sum(change.on for change in board.outputs if change.name in ("LATCH", "CATCH"))
    board.read_available()
    board.write(bytes([wire.END]) + wire.command(Op.HELLO, 1))
    board.run(board.now_s + 0.1)
    answered = any(
        isinstance(item, Frame) and item.kind is Kind.HELLO
        for item in Decoder().feed(board.read_available())
    )
    return fed, energised, board.counters().resets - resets, answered


def _babble(chance: random.Random) -> bytes:
    """Noise, and true commands with a change somewhere."""
    if chance.random() < 0.5:
        return chance.randbytes(CHUNK)
    data = bytearray()
    while len(data) < CHUNK:
        op = chance.choice(list(Op))
        values = {f.name: chance.randrange(1 << 7) for f in wire.COMMANDS[op]}
        told = bytearray(wire.command(op, chance.randrange(1 << 14), **values))
        if chance.random() < 0.7:
            told[chance.randrange(len(told))] ^= 1 << chance.randrange(8)
        data += told
    return bytes(data)


def figures(size: int = BYTES) -> list[dict[str, Any]]:
    """Exceptions, wrong samples, energised outputs and resets after `size` bytes each."""
    fed, raised, wrong = decoder(size)
    sent, energised, resets, answered = firmware(size)
    return [
        exactly(f"exceptions of the decoder on {fed:,} bytes", raised, "exceptions", 0),
        exactly("samples accepted that were never sent", wrong, "samples", 0),
        exactly(f"solenoids energised by {sent:,} bytes", energised, "times", 0),
        exactly("resets of the board meanwhile", resets, "resets", 0),
        exactly("board answers afterwards", int(answered), "1", 1),
    ]
