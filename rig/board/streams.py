"""Byte streams a link can stand on, and the clock that goes with each."""

import time
from typing import Protocol

from rig.board import wire
from rig.errors import RigError


class Clock(Protocol):
    """Host time. A virtual board's clock moves its world when it sleeps."""

    def now(self) -> float:
        """Monotonic seconds."""

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass."""


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
            self._serial = serial.Serial(port, wire.BAUD, timeout=0, write_timeout=1)
        except serial.SerialException as error:
            raise _plain(port, error) from None
        except (OSError, ValueError) as error:
            raise _plain(port, error) from None
        _claim(self._serial, port)

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


def _claim(port: object, name: str) -> None:
    """Lock the port on systems where opening it does not (a second host must not share it)."""
    try:
        import fcntl
    except ImportError:  # Windows opens ports for one program only
        return
    try:
        fcntl.flock(port.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)  # type: ignore[attr-defined]
    except OSError:
        port.close()  # type: ignore[attr-defined]
        raise PortError(
            "port is in use by another program",
            where=name,
            remedy="close that program, then try again",
        ) from None


def _plain(port: str, error: Exception) -> PortError:
    text = str(error).lower()
    if "busy" in text or "lock" in text:
        return PortError(
            "port is in use by another program",
            where=port,
            remedy="close that program, then try again",
        )
    if "permission" in text or "access is denied" in text:
        return PortError(
            "you may not open this port",
            where=port,
            remedy="close other programs that use it; on Linux join the group that owns it "
            "(often 'dialout') and log in again",
        )
    if "no such file" in text or "could not open" in text or "filenotfound" in text:
        return PortError(
            "no such port", where=port, remedy="see 'bladerig board list' for the ports there are"
        )
    return PortError(
        "not a serial port", where=port, remedy="see 'bladerig board list' for the ports there are"
    )
