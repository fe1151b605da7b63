"""Put our firmware on a board: calls avrdude, which knows the boot loaders."""

import shutil
import subprocess
from importlib.resources import files
from pathlib import Path

from rig.errors import RigError

IMAGE = "bladerig-atmega328p.hex"
# Boot loaders of boards with this part: current ones listen at 115,200, older Nanos at 57,600.
SPEEDS = (115_200, 57_600)
LIMIT_S = 60.0


def image() -> Path:
    """The prebuilt firmware that comes with the program."""
    return Path(str(files("rig.board") / "firmware" / IMAGE))


def command(port: str, speed: int, tool: str = "avrdude") -> list[str]:
    """The call that writes and verifies the image."""
    return [
        tool, "-q", "-p", "atmega328p", "-c", "arduino", "-P", port, "-b", str(speed), "-D",
        "-U", f"flash:w:{image()}:i",
    ]  # fmt: skip


def flash(port: str) -> str:
    """Write the firmware through the board's boot loader; gives a line on what was done.

    Raises:
        RigError: avrdude is missing, the port is not there, or no boot loader answered.
    """
    tool = shutil.which("avrdude")
    if tool is None:
        raise RigError(
            "avrdude is not installed",
            remedy="install it (Debian, Ubuntu: sudo apt install avrdude; macOS: brew install "
            "avrdude; Windows: winget install avrdude), then try again",
        )
    if not Path(port).exists() and not port.upper().startswith("COM"):
        raise RigError("no such port", where=port, remedy="see 'bladerig board list'")
    told = ""
    for speed in SPEEDS:
        try:
            done = subprocess.run(
                command(port, speed, tool), capture_output=True, text=True, timeout=LIMIT_S,
                check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            continue
        if done.returncode == 0:
            return f"firmware written and verified at {speed} baud"
        told = (done.stderr.strip().splitlines() or [""])[-1]
    raise RigError(
        f"no boot loader answered ({told or 'no answer'})",
        where=port,
        remedy="press the board's reset button just before trying again; check that nothing "
        "else uses the port and that the board is an ATmega328P",
    )
