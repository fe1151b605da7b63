"""The lines of safety.md that the guide shows at the moment of risk.

Kept here word for word as they stand in safety.md; a test holds the two together.
"""

LINES: dict[str, str] = {
    "falling_mass": "Falling mass: the latch can fail. Keep hands and head out of the carriage's "
    "path whenever it is above the anvil; put the pin in for every reach-in.",
    "chips": "Flying chips: hard steel can splinter. Wear high-impact eye protection, close the "
    "guard, and let nobody stand in line with the edge.",
    "edge": "Sharp edge: carry and clamp the blade by its spine or tang, cut-resistant gloves on; "
    "take the gloves off near moving parts.",
    "pinch": "Pinch points: the carriage and the catch close without warning. Use the hand lever, "
    "never a finger.",
}
