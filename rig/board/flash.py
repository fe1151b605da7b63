"""Put our firmware on a board: calls avrdude, which knows the boot loaders."""

import re
import shutil
import subprocess
from importlib.resources import files
from pathlib import Path
from threading import Timer

from rig.errors import RigError

IMAGE = "bladerig-atmega328p.hex"
# Boot loaders of boards with this part: current ones listen at 115,200, older Nanos at 57,600.
SPEEDS = (115_200, 57_600)
LIMIT_S = 40.0  # writing and reading back at the lower speed takes about 10 s
# avrdude tries ten times, over a minute; a boot loader that misses two resets is not there.
GIVE_UP = "attempt 2 of"
TELLING = re.compile("error|can't|cannot|not in sync", re.IGNORECASE)


def image() -> Path:
    """The prebuilt firmware that comes with the program."""
    return Path(str(files("rig.board") / "firmware" / IMAGE))


def command(port: str, speed: int, tool: str = "avrdude") -> list[str]:
    """The call that writes and verifies the image."""
    return [
        tool, "-q", "-p", "atmega328p", "-c", "arduino", "-P", port, "-b", str(speed), "-D",
        "-U", f"flash:w:{image()}:i",
    ]  # fmt: skip


def tool_for(port: str) -> str:
    """The path of avrdude, with the port known to be there.

    Raises:
        RigError: avrdude is missing, or the port is not there.
    """
    tool = shutil.which("avrdude")
    if tool is None:
        raise RigError(
            "avrdude is not installed",
            remedy="install it (Debian, Ubuntu: sudo apt install avrdude; macOS: brew install "
            "avrdude; Windows: winget install avrdude), then try again",
        )
    if not port.upper().startswith("COM") and not Path(port).is_char_device():
        what = "not a serial port" if port and Path(port).exists() else "no such port"
        raise RigError(what, where=port or "--port", remedy="see 'bladerig board list'")
    return tool


def flash(port: str) -> str:
    """Write the firmware through the board's boot loader; gives a line on what was done.

    Raises:
        RigError: avrdude is missing, the port is not there, or no boot loader answered.
    """
    tool = tool_for(port)
    told: list[str] = []
    for speed in SPEEDS:
        done, said = _run(command(port, speed, tool))
        if done:
            return f"firmware written and verified at {speed} baud"
        told += [line for line in said if TELLING.search(line) and "ioctl" not in line]
    raise RigError(
        f"firmware not written: {told[0] if told else 'no boot loader answered'}",
        where=port,
        remedy="press the board's reset button just before trying again; check that nothing "
        "else uses the port and that the board is an ATmega328P",
    )


def _run(call: list[str]) -> tuple[bool, list[str]]:
    """Whether avrdude did it, and the lines it said; none where nothing answered it."""
    said = []
    with subprocess.Popen(
        call, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, errors="replace"
    ) as avrdude:
        timer = Timer(LIMIT_S, avrdude.kill)
        timer.start()
        for line in avrdude.stderr or ():
            said.append(line.strip())
            if GIVE_UP in line:
                avrdude.kill()
                said.clear()
                break
        timer.cancel()
    return avrdude.returncode == 0, said
