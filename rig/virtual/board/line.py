"""The serial line from the board, 40 microseconds a byte, and what disturbs it."""

import random
from collections import deque

from rig.board.wire import BAUD

BYTE_S = 10 / BAUD  # start bit, eight data bits, stop bit


class Noise:
    """What a bad line does to bytes: each share is the chance for one byte.

    `lose_next` and `damage_next` take the next bytes, however good the line.
    """

    def __init__(self, seed: int) -> None:
        self._rng = random.Random(seed)
        self.lose = self.damage = 0.0
        self.lose_next = self.damage_next = 0
        self.silent = False

    def passed(self, data: bytes) -> list[tuple[int, bytes]]:
        """The runs of bytes that arrive, each with the place of its first byte in `data`."""
        if self.silent:
            return []
        if not (self.lose or self.damage or self.lose_next or self.damage_next):
            return [(0, data)]
        bytes_ = ((i, self._byte(byte)) for i, byte in enumerate(data))
        return [(i, bytes([byte])) for i, byte in bytes_ if byte is not None]

    def _byte(self, byte: int) -> int | None:
        if self.lose_next > 0 or (self.lose and self._rng.random() < self.lose):
            self.lose_next = max(0, self.lose_next - 1)
            return None
        if self.damage_next > 0 or (self.damage and self._rng.random() < self.damage):
            self.damage_next = max(0, self.damage_next - 1)
            return byte ^ 1 << self._rng.randrange(8)
        return byte


class VirtualLine:
    """Bytes under way to the host."""

    def __init__(self, noise: Noise) -> None:
        self._noise = noise
        self._runs: deque[tuple[float, bytes]] = deque()
        self._free_at_s = 0.0

    def send(self, data: bytes, t: float) -> None:
        """Queue bytes at `t`."""
        start = max(t, self._free_at_s)
        self._free_at_s = start + len(data) * BYTE_S
        for place, run in self._noise.passed(data):
            self._runs.append((start + place * BYTE_S, run))

    @property
    def next_s(self) -> float:
        """Before this no more bytes have come."""
        return self._runs[0][0] if self._runs else float("inf")

    def cut(self, t: float) -> None:
        """Lose what has not left the board by `t`."""
        self._runs = deque((s, run[: _sent(s, t)]) for s, run in self._runs if s < t)
        self._free_at_s = t

    def waiting(self, t: float) -> int:
        """Bytes the host could read at `t`."""
        return sum(len(run[: _sent(start, t)]) for start, run in self._runs if start < t)

    def read(self, t: float) -> bytes:
        """Take all bytes that have arrived by `t`."""
        runs = self._runs
        if not runs or runs[0][0] >= t:
            return b""
        out = bytearray()
        while runs and runs[0][0] < t:
            start, run = runs.popleft()
            done = _sent(start, t)
            out += run[:done]
            if done < len(run):
                runs.appendleft((start + done * BYTE_S, run[done:]))
                break
        return bytes(out)


def _sent(start: float, t: float) -> int:
    return int((t - start) / BYTE_S + 1e-6)
