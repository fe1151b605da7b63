"""Which serial ports there are, and what answers on each: asked, never guessed."""

from collections.abc import Sequence
from dataclasses import dataclass

from rig.board.link import Link
from rig.board.streams import SerialStream, SystemClock
from rig.errors import RigError

ASK_LIMIT_S = 3.0


@dataclass(frozen=True)
class Port:
    """One port that is there; `identity` tells its device from others, not its socket."""

    port: str
    hardware: str
    identity: str


@dataclass(frozen=True)
class Found:
    """One port; `answer` says in words what answered, `ours` whether a run can use it."""

    port: str
    hardware: str
    answer: str
    ours: bool


def connect(port: str, time_limit_s: float = 5.0) -> Link:
    """A link to the board on a real port.

    Raises:
        RigError: no such port, busy, nothing answers, other firmware.
    """
    stream = SerialStream(port)
    try:
        return Link(stream, clock=SystemClock(), name=port, time_limit_s=time_limit_s)
    except BaseException:
        stream.close()
        raise


def attached() -> list[Port]:
    """The serial ports with a device behind them; none is opened."""
    from serial.tools import list_ports

    found = []
    for info in sorted(list_ports.comports(), key=lambda p: str(p.device)):
        if info.hwid != "n/a":  # bare ports of the mainboard with nothing behind them
            found.append(Port(str(info.device), str(info.description or ""), _identity(info.hwid)))
    return found


def _identity(hardware: str) -> str:
    """What tells one device from another: its serial number wherever it is, else the socket.

    Many adapters have no number: two of one make are alike but for where they are.
    """
    parts = str(hardware).split()
    numbered = any(part.startswith("SER=") and part != "SER=" for part in parts)
    return " ".join(p for p in parts if not (numbered and p.startswith("LOCATION=")))


def ask(port: str, hardware: str = "") -> Found:
    """What answers on one port."""
    try:
        link = connect(port, ASK_LIMIT_S)
    except RigError as error:
        return Found(port, hardware, error.what, False)
    try:
        version = ".".join(map(str, link.hello.firmware)) if link.hello else "?"
        return Found(port, hardware, f"{link.firmware} {version}", True)
    finally:
        link.exit()


def the_one(found: Sequence[Found]) -> str:
    """The only port on which our firmware answers.

    Raises:
        RigError: none answers, or several do.
    """
    ours = [f.port for f in found if f.ours]
    if len(ours) == 1:
        return ours[0]
    if not ours:
        raise RigError(
            f"no board with our firmware on {', '.join(f.port for f in found)}",
            remedy="check its cable, see 'bladerig board list', or use --virtual to practise",
        )
    raise RigError(
        f"boards answer on {', '.join(ours)}", remedy="choose one with --port", value=ours
    )
