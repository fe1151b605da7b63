"""The strokes of one stretch, told apart from the board's totals. Pure.

The board counts since its boot and is never set to zero. A stretch begins at what the totals were
then, so a lost line or a program that was killed loses no stroke made in the same boot: the totals
hold it. Another boot begins anew; what was seen of the old one is kept, and what happened unseen
between the two only a person can tell.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from rig.board.wire import PAYLOADS, Kind

COUNTED = "counted"
REJECTS = ("partial", "too_fast", "too_slow", "both_closed", "wrong_order", "stuck")
WORDS = {
    "partial": "turned back before the far switch",
    "too_fast": "too fast",
    "too_slow": "too slow",
    "both_closed": "both switches closed at once",
    "wrong_order": "switches in the wrong order",
    "stuck": "a switch stuck",
}
"""What each kind of rejected stroke means."""

PAUSE = "pause"
"""The word with which a person pauses a stretch."""

ROW = 5
"""Rejected strokes in a row that no person would go on making."""

BITS = {
    field.name: field.bits
    for field in PAYLOADS[Kind.COUNTS]
    if field.name == COUNTED or field.name in REJECTS
}
"""Totals on the wire are counted modulo these powers of two."""


@dataclass(frozen=True)
class Tally:
    """What one stretch amounts to.

    Attributes:
        boot: of the board that counts.
        base, last: its totals when the stretch began, and when last seen.
    """

    boot: int
    base: Mapping[str, int]
    last: Mapping[str, int]

    @classmethod
    def begin(cls, boot: int, totals: Mapping[str, int]) -> "Tally":
        """A stretch begins: nothing counted yet."""
        own = {key: totals[key] for key in BITS}
        return cls(boot, own, own)

    def seen(self, totals: Mapping[str, int]) -> "Tally":
        """The same boot's totals now."""
        return Tally(self.boot, self.base, {key: totals[key] for key in BITS})

    @property
    def strokes(self) -> dict[str, int]:
        """Strokes of the stretch so far, counted and rejected, by name."""
        return {key: (self.last[key] - self.base[key]) % (1 << BITS[key]) for key in BITS}

    @property
    def counted(self) -> int:
        """Full strokes."""
        return self.strokes[COUNTED]

    @property
    def rejected(self) -> dict[str, int]:
        """Rejected ones that there were, by reason."""
        return {key: number for key in REJECTS if (number := self.strokes[key])}

    def to_dict(self) -> dict[str, Any]:
        """Plain data, as journaled."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "Tally":
        """What `to_dict` wrote."""
        return cls(data["boot"], data["base"], data["last"])


def told(rejected: Mapping[str, int]) -> str:
    """The rejected strokes in words: `2 too fast, 1 turned back before the far switch`."""
    return ", ".join(f"{number} {WORDS[key]}" for key, number in rejected.items())
