"""What hands did before a virtual rig was made anew."""

from collections.abc import Mapping
from typing import Protocol

Detail = Mapping[str, float | str]


class Done(Protocol):
    """Something hands did: the word, its detail, and the strokes that came of it."""

    @property
    def hand(self) -> str:
        """The word."""

    @property
    def detail(self) -> Detail:
        """What it was done with."""

    @property
    def strokes(self) -> int:
        """How many were counted."""
