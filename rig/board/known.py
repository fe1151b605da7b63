"""Which attached device is the board, and which were found to be something else: kept in a file.

Opening a port can reset what is on it, so a port is asked once and then remembered by its device's
own identity, not by its name, which changes with the socket.
"""

import json
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path


@dataclass(frozen=True)
class Known:
    """Identities (`ports.Port.identity`) by what they were found to be; `board` "" when unknown."""

    board: str = ""
    others: frozenset[str] = frozenset()

    def found(self, board: str) -> "Known":
        """Our firmware answered on this one."""
        return Known(board, self.others - {board})

    def forgotten(self) -> "Known":
        """Nothing of ours answered where the board was."""
        return replace(self, board="")

    def not_ours(self, other: str) -> "Known":
        """It did not on this one."""
        return Known("" if self.board == other else self.board, self.others | {other})


def load(path: Path) -> Known:
    """What is remembered; nothing when there is no file, or none that can be read."""
    with suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
        told = json.loads(path.read_text("utf-8"))
        return Known(str(told["board"]), frozenset(map(str, told["others"])))
    return Known()


def save(path: Path, known: Known) -> None:
    """Keep it; where it cannot be kept the ports are asked about again next time."""
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps({"board": known.board, "others": sorted(known.others)}, indent=1)
        path.write_text(text + "\n", "utf-8")
