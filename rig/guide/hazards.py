"""The lines of safety.md that the guide shows at the moment of risk: whole once a run, then short.

Kept here word for word as they stand in safety.md; a test holds the two together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

LINES: dict[str, str] = {
    "falling_mass": "Falling mass: the latch can fail. Keep hands and head out of the carriage's "
    "path whenever it is above the anvil; put the pin in for every reach-in.",
    "chips": "Flying chips: hard steel can splinter. Wear high-impact eye protection, close the "
    "guard, and let nobody stand in line with the edge.",
    "edge": "Sharp edge: carry and clamp the blade by its spine or tang, cut-resistant gloves on; "
    "take the gloves off near moving parts.",
    "pinch": "Pinch points: the carriage and the catch close without warning. Use the hand lever, "
    "never a finger.",
    "trap": "Trapped fingers: the arm and its stop close on what is between them. Hold the arm by "
    "its grip only.",
    "shards": "Flying tips: a tip that snaps is fast enough to blind. Wear high-impact eye "
    "protection, close the shield, and let nobody stand in the plane of the arm.",
    "stored": "Stored energy: a bent blade and a pulled arm spring back. Keep face and fingers out "
    "of the arm's way, and let it back by hand, never all at once.",
    "hard_blade": "Hard blade under the tester: one that rocks can crack and throw splinters. Flat "
    "on the anvil, edge taped, eye protection on.",
    "driven_blade": "Driven blade: standing still is not off. Guard closed before every start; pin "
    "in and motor unplugged before a hand goes in.",
    "drawn_blade": "Drawn blade: one hand on the rod's handle, the other away from the table, no "
    "glove near the rod. Carriage home and pin in before a hand goes in.",
    "weights": "Weights on the lever: feet from under them, 10 kg lifted with both hands, pin in "
    "its hole before you hang anything.",
    "probing": "Testing an edge: edge and stroke away from you, never toward a wrist or the hand "
    "that holds. Put the blade down before you type.",
}

OUT = ":out"
"""Ends the key of a line where the pin is out: whole it is the same, in few words another."""

SHORT: dict[str, str] = {
    "falling_mass": "it can fall: pin in before a hand",
    "falling_mass:out": "pin out, it can fall: hands and head out of its path",
    "chips": "eye protection on, guard closed",
    "edge": "sharp: hold the spine",
    "pinch": "hand lever, no finger",
    "trap": "hold the grip only",
    "shards": "eye protection on, shield closed",
    "stored": "it springs back: face and fingers away",
    "hard_blade": "flat on the anvil, eye protection on",
    "driven_blade": "motor unplugged, pin in before a hand",
    "driven_blade:out": "pin out, it can start: hands out, guard closed",
    "drawn_blade": "hand on the handle, pin in before a hand",
    "drawn_blade:out": "pin out: one hand on the handle, the other away",
    "weights": "feet clear, pin in",
    "probing": "edge and stroke away from you",
}
"""The same in a few words, for a line that this run has shown whole."""


def whole(key: str) -> str:
    """The line of safety.md for a step's key."""
    return LINES[key.removesuffix(OUT)]


@dataclass
class Warned:
    """What one run has shown so far; a run that is resumed shows every line whole again."""

    _shown: set[str] = field(default_factory=set)

    def lines(self, keys: Sequence[str]) -> list[str]:
        """The lines to show now for these keys of `SHORT`: new ones whole, the others in one."""
        new = [whole(key) for key in keys if whole(key) not in self._shown]
        known = [SHORT[key] for key in keys if whole(key) in self._shown]
        self._shown |= {whole(key) for key in keys}
        return [*new, "; ".join(known).capitalize() + "."] if known else new
