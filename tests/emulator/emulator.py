"""The real firmware on an emulated microcontroller, wired to a tower: a board in virtual time.

It answers to the same calls as `rig.virtual.board.standin.StandIn`: a byte stream, and a `clock`
whose `sleep` moves board and tower together. Time is exact to an instruction and repeats to the
byte.
"""

from collections import deque
from pathlib import Path
from typing import Any

from tests.emulator.wired import CHUNK_S, WiredChip
from tests.emulator.world import Tower

START_UP_S = 0.065  # reset to first instruction (ATmega328P start-up time; from memory)
READ_TIMEOUT_S = 1.0


class EmulatedBoard(WiredChip):
    """A wired chip with a port to a host, which may be reset, unplugged or hung.

    Arguments and attributes as `WiredChip`.
    """

    def __init__(self, image: Path, tower: Tower, **wired: Any) -> None:
        self._arrived: deque[int] = deque()
        self._open, self._silent = True, False
        self._deaf_until_s = tower.now_s
        super().__init__(image, tower, **wired)

    # -- stream

    @property
    def in_waiting(self) -> int:
        """Bytes ready to read."""
        self._check_port()
        return len(self._arrived)

    def inWaiting(self) -> int:
        """The same, by pyserial's old name."""
        return self.in_waiting

    def read_available(self) -> bytes:
        """All bytes that have arrived; raises OSError when unplugged or closed."""
        self._check_port()
        data = bytes(self._arrived)
        self._arrived.clear()
        return data

    def read(self, n: int = 1) -> bytes:
        """Wait for `n` bytes, a second of virtual time at most, and take them."""
        limit = self.now_s + READ_TIMEOUT_S
        while self.in_waiting < n and self.now_s < limit:
            self.run(self.now_s + CHUNK_S)
        return bytes(self._arrived.popleft() for _ in range(min(n, len(self._arrived))))

    def write(self, data: bytes) -> int:
        """Send bytes at the line's speed; raises OSError when unplugged or closed."""
        self._check_port()
        if self.running and not self._silent:
            self.chip.receive(bytes(data))
        return len(data)

    def close(self) -> None:
        """Close the port; the board runs on."""
        self._open = False

    def reopen(self) -> None:
        """Open the port again, which resets the board as its serial adapter does."""
        self._open = True
        self._arrived.clear()
        self.reset()

    def hear(self) -> None:
        """Take what the chip has sent; it is lost when nobody listens."""
        if self._powered:
            data, _ = self.chip.sent()
            if self._open and not self._silent:
                self._arrived.extend(data)

    def _check_port(self) -> None:
        if not self._open:
            raise OSError("no such port: it is unplugged or closed")

    @property
    def running(self) -> bool:
        """Whether the board has power and is out of reset."""
        return self._powered and self.now_s >= self._deaf_until_s

    # -- faults

    def reset(self) -> None:
        """A pulse on the reset pin; the program starts `START_UP_S` later."""
        if not self._powered:
            return
        self._hanging.end()
        self._deaf_until_s = self.now_s + START_UP_S
        self.chip.hold_reset(self._pace.cycle(self._deaf_until_s))
        self._report_outputs()
        self._drive_all()

    def power_off(self) -> None:
        """Power goes: pins drop at once, the link falls silent."""
        if not self._powered:
            return
        self.hear()
        self.chip.reset_pin()
        self._report_outputs()
        self._powered = False

    def power_on(self) -> None:
        """Power comes back; the program starts `START_UP_S` later, the RAM full of noise."""
        if self._powered:
            return
        self._hanging.end()
        self._powered = True
        self._deaf_until_s = self.now_s + START_UP_S
        self.chip.power_up(self._pace.cycle(self._deaf_until_s))
        self._drive_all()

    def unplug(self) -> None:
        """The cable is out: no port and no power."""
        self.power_off()
        self._open = False

    def plug(self) -> None:
        """The cable is in again; the port is a new one."""
        self._open = True
        self._arrived.clear()
        self.power_on()

    def silence(self, on: bool) -> None:
        """Nothing passes the line, either way; the board runs on."""
        self._silent = on

    def hang(self) -> None:
        """The main loop gets stuck with its interrupts alive, until some reset."""
        while not self.chip.asleep:
            self.run(self.now_s + 1e-5)
        self._hanging.begin()

    def stall(self, seconds: float) -> None:
        """The main loop stands still for a while, its interrupts alive."""
        self.hang()
        self.run(self.now_s + seconds)
        self._hanging.end()
