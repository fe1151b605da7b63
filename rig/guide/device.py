"""What a run talks to: the link, and for a virtual rig the hands that stand at it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from rig.board.link import Link

WORDS = {
    "virtual": "the virtual rig (practice)",
    "port": "a board on a port",
    "emulated": "the emulated board (practice)",
}
"""Kinds of rig in words."""


@dataclass(frozen=True)
class Deed:
    """Something hands did: a step's word with its detail, and the strokes that came of it."""

    hand: str
    detail: Mapping[str, float | str]
    strokes: int = 0


class BenchHands(Protocol):
    """Hands at a virtual rig, told what to do by the steps' `hand` words."""

    def act(self, hand: str, detail: Mapping[str, float | str]) -> float:
        """Begin one action; gives the seconds it will take."""


@runtime_checkable
class Remembering(Protocol):
    """Hands whose rig is made anew when a program starts, and can be brought to where it was."""

    def recall(self, deeds: Sequence[Deed]) -> float:
        """What was done before, in order; gives the seconds it takes.

        Nothing for hands that have done something themselves.
        """


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

    def until(self, test: Callable[[], bool]) -> None:
        """Serve the line until a test holds, however long it takes."""
        while not self.link.wait_until(test, 1.0):
            pass

    def recall(self, deeds: Sequence[Deed]) -> None:
        """Bring a virtual rig that was made anew to where the run stopped."""
        if isinstance(self.hands, Remembering):
            self.link.wait(self.hands.recall(deeds))
