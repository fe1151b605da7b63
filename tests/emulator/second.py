"""The committed image in QEMU's machine `uno`: a second emulator, written by other hands.

That machine is no whole ATmega328P. It leaves SLEEP only to come to it again, so the one SLEEP of
the image is a NOP here; and it has no Timer 2, no converter and no pins that a plant could move. So
no height, no STATUS and no interlock can be seen on it: what can is the start, the UART, the frames
both ways, the commands and the clock (Timer 1). It runs in real time.
"""

import contextlib
import socket
import subprocess
import time
from pathlib import Path
from types import TracebackType

from rig.board.flash import image
from tests.emulator.build import read_hex

SLEEP, NOP = bytes.fromhex("8895"), bytes(2)  # AVR instruction set manual, opcodes 9588 and 0000
PATIENCE_S = 60.0


def awake(flash: bytes) -> bytes:
    """The image with its SLEEP, of which there must be one, made a NOP."""
    words = [flash[at : at + 2] for at in range(0, len(flash), 2)]
    assert words.count(SLEEP) == 1
    return b"".join(NOP if word == SLEEP else word for word in words)


class SecondEmulator:
    """A byte stream to the image in QEMU; a context manager."""

    def __init__(self, folder: Path) -> None:
        flash, line = folder / "awake.bin", folder / "uart"
        flash.write_bytes(awake(read_hex(image().read_text())))
        self._machine = subprocess.Popen(
            ["qemu-system-avr", "-machine", "uno", "-bios", flash, "-nographic", "-monitor", "none",
             "-serial", f"unix:{line},server=on,wait=off"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        self._line = socket.socket(socket.AF_UNIX)
        self._connect(line)
        self._line.setblocking(False)
        self._come = b""

    def _connect(self, line: Path) -> None:
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                return self._line.connect(str(line))
            except OSError:
                assert self._machine.poll() is None and time.monotonic() < end
                time.sleep(0.02)  # until the machine has made its socket

    def __enter__(self) -> "SecondEmulator":
        return self

    def __exit__(
        self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None
    ) -> None:
        self._line.close()
        self._machine.kill()
        self._machine.wait()

    @property
    def in_waiting(self) -> int:
        """Bytes ready to read."""
        with contextlib.suppress(BlockingIOError):
            while data := self._line.recv(4096):
                self._come += data
        return len(self._come)

    def inWaiting(self) -> int:
        """The same, by pyserial's old name."""
        return self.in_waiting

    def read_available(self) -> bytes:
        """All bytes that have arrived."""
        count = self.in_waiting
        data, self._come = self._come[:count], b""
        return data

    def write(self, data: bytes) -> int:
        """Send bytes."""
        self._line.sendall(data)
        return len(data)

    def close(self) -> None:
        """The machine is ended by the context."""
