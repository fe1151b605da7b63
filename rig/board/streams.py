"""Byte streams a link can stand on, and the clock that goes with each."""

import errno
import time
from typing import Protocol, runtime_checkable

from rig.board import wire
from rig.errors import RigError


class Clock(Protocol):
    """Host time. A virtual board's clock moves its world when it sleeps."""

    def now(self) -> float:
        """Monotonic seconds."""

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass."""


@runtime_checkable
class Dozing(Protocol):
    """A clock that knows what is to come, as only a virtual one does."""

    def doze(self, step_s: float, end_s: float, before_s: float) -> None:
        """Let all those steps towards `end_s` pass in one go in which surely nothing comes.

        The step in which something may come, or `before_s` is reached, is left to `sleep`.
        """


class Stream(Protocol):
    """What a link needs of a port; `inWaiting` is for pyfirmata2's own methods."""

    @property
    def in_waiting(self) -> int: ...
    def inWaiting(self) -> int: ...
    def read_available(self) -> bytes: ...
    def write(self, data: bytes) -> int | None: ...
    def close(self) -> None: ...


class SystemClock:
    """Real time."""

    def now(self) -> float:
        """Monotonic seconds."""
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass."""
        time.sleep(seconds)


class PortError(RigError):
    """A port that cannot be opened or used."""


class SerialStream:
    """A real serial port or pseudo-terminal at the wire's speed.

    Raises:
        PortError: the port is missing, busy or not ours to open.
    """

    def __init__(self, port: str) -> None:
        import serial

        self.port = port
        try:
            # Locked before anything is set: a second program must not disturb the first.
            self._serial = serial.Serial(
                port, wire.BAUD, timeout=0, write_timeout=1, exclusive=True
            )
        except (OSError, ValueError) as error:  # pyserial's own are OSErrors
            raise _plain(port, error) from None

    @property
    def in_waiting(self) -> int:
        """Bytes ready to read."""
        return int(self._serial.in_waiting)

    def inWaiting(self) -> int:
        """The same, under the name pyfirmata2 calls."""
        return self.in_waiting

    def read_available(self) -> bytes:
        """All bytes that have arrived, without waiting."""
        return bytes(self._serial.read(max(self.in_waiting, 1)))

    def write(self, data: bytes) -> int | None:
        """Send bytes."""
        import serial

        try:
            return int(self._serial.write(data) or 0)
        except serial.SerialTimeoutException:
            raise OSError(f"{self.port} takes no more bytes") from None

    def close(self) -> None:
        """Give the port back."""
        self._serial.close()


def _plain(port: str, error: Exception) -> PortError:
    number, text = getattr(error, "errno", None), str(error)  # on Windows there is only the text
    if number in (errno.EBUSY, errno.EAGAIN):
        return PortError(
            "port is in use by another program",
            where=port,
            remedy="close that program, then try again",
        )
    if number in (errno.EACCES, errno.EPERM) or "PermissionError" in text:
        return PortError(
            "you may not open this port",
            where=port,
            remedy="close other programs that use it; on Linux join the group that owns it "
            "(often 'dialout') and log in again",
        )
    gone = number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in text
    return PortError(
        "no such port" if gone else "not a serial port",
        where=port,
        remedy="see 'bladerig board list' for the ports there are",
    )
