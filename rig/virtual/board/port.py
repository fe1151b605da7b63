"""The host's end of the serial line: bytes both ways at the line's speed, and its mishaps."""

from collections import deque

from rig.virtual.board.line import BYTE_S, Noise, VirtualLine

_NEVER = float("inf")


class Port:
    """Bytes between host and board.

    Attributes:
        to_host, to_board: what disturbs the line each way.
        line: what the board sends.
        is_open: the host holds the port.
        unplugged: the cable is out.
    """

    def __init__(self, seed: int) -> None:
        self.to_host, self.to_board = Noise(seed), Noise(seed + 1)
        self.line = VirtualLine(self.to_host)
        self.is_open = True
        self.unplugged = False
        self._incoming: deque[tuple[float, int]] = deque()
        self._incoming_free_s = 0.0

    def check(self) -> None:
        """Raises OSError when unplugged or closed."""
        if self.unplugged or not self.is_open:
            raise OSError("no such port: it is unplugged or closed")

    def write(self, data: bytes, now_s: float) -> None:
        """Put the host's bytes on the line."""
        start = max(now_s, self._incoming_free_s)
        for place, run in self.to_board.passed(data):
            for i, byte in enumerate(run, start=place + 1):
                self._incoming.append((start + i * BYTE_S, byte))
        self._incoming_free_s = start + len(data) * BYTE_S

    @property
    def next_s(self) -> float:
        """When the next byte reaches the board."""
        return self._incoming[0][0] if self._incoming else _NEVER

    def pop(self) -> tuple[float, int]:
        """The next byte for the board and its time."""
        return self._incoming.popleft()

    def silence(self, on: bool, now_s: float) -> None:
        """Nothing passes the line any more, or all does again."""
        self.to_host.silent = self.to_board.silent = on
        self.line.cut(now_s)

    def drop(self, now_s: float) -> None:
        """Lose what is under way either way."""
        self.line.cut(now_s)
        self._incoming.clear()
