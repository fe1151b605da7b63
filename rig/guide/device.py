"""What a run talks to: the link, and for a virtual rig the hands that stand at it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from rig.board.link import Link

WORDS = {
    "virtual": "the virtual rig (practice)",
    "port": "a board on a port",
    "emulated": "the emulated board",
}
"""Kinds of rig in words."""


class BenchHands(Protocol):
    """Hands at a virtual rig, told what to do by the steps' `hand` words."""

    def act(self, hand: str, detail: Mapping[str, float | str]) -> float:
        """Begin one action; gives the seconds it will take."""


@dataclass
class Device:
    """A connected rig.

    Attributes:
        link: the line to the board.
        reopen: connects again after the line was lost.
        hands: only for a virtual rig; None where a person stands at the bench.
        kind: "virtual", "port" or "emulated", kept with the record.
    """

    link: Link
    reopen: Callable[[], Link]
    hands: BenchHands | None
    kind: str

    def act(self, hand: str, detail: Mapping[str, float | str] | None = None) -> None:
        """Let the virtual hands do it; at a real bench the person has read the step."""
        if self.hands is not None and hand:
            self.link.wait(self.hands.act(hand, detail or {}))
