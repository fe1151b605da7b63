"""What has to be made safe before anybody leaves the bench, or goes on at it.

Told from the steps done and the one under way: each place of the rig stands as its last step
left it. Nobody knows whether a pin is in, so the words say what to do, never that it is safe.
"""

from collections.abc import Iterable, Mapping
from typing import Any

HANGS = "The carriage may hang or be raised: pin in, from the side, before anything else."
RESTS = "The carriage rests on what is clamped: lift it by its lever and put the pin in."
PULLED = (
    "The arm may be loaded: eye protection on, face and fingers out of its way, let it back by "
    "hand, slowly."
)
SEATED = "A blade is clamped in the arm: let the arm back, leave the shield closed until it is."
HUNG = "A weight may hang on the lever: feet clear, take it off with the pin in its hole."
HELD = "The arm may be held against a stop: let it back by its grip."
POWERED = "12 V plug out and motor's plug out; carriage down on its stops, the tower's pin in."
CUTS = "A bare edge is in the frame: carriage home, pin in, motor unplugged."

AFTER: Mapping[str, tuple[str, str]] = {
    "load": ("tower", HANGS), "bare": ("tower", HANGS), "lift": ("tower", HANGS),
    "rule": ("tower", HANGS), "lower": ("tower", RESTS),
    "clamp_blade": ("arm", SEATED), "seat": ("arm", SEATED), "set_edge": ("arm", SEATED),
    "hang": ("arm", HUNG), "unhang": ("arm", ""), "stop": ("arm", HELD), "free": ("arm", ""),
    "up": ("tower", HANGS), "down": ("tower", ""), "commission": ("box", POWERED),
    "mount": ("frame", CUTS), "feed": ("frame", CUTS), "take_out": ("frame", ""),
}  # fmt: skip
"""A step's `hand` -> the place it was at, and what to do there before leaving."""

DURING: Mapping[str, tuple[str, str]] = {
    "Touch": ("tower", HANGS), "Raise": ("tower", HANGS), "Release": ("tower", HANGS),
    "Record": ("arm", PULLED), "Strokes": ("frame", CUTS), "Dry": ("box", POWERED),
}  # fmt: skip
"""The same while a step of that kind is under way."""


def make_safe(done: Iterable[Mapping[str, Any]], now: Mapping[str, Any] | None) -> list[str]:
    """What to make safe, most urgent first; empty when nothing of the rig was touched.

    Args:
        done: steps as journaled, in order.
        now: the step under way, or the one that comes next.
    """
    places: dict[str, str] = {}
    for step in done:
        place, words = _after(step)
        if place:
            places[place] = words
    if now is not None:
        place, words = DURING.get(now["step"]) or AFTER.get(now.get("hand", ""), ("", ""))
        if words:
            places[place] = words
    return [words for words in places.values() if words]


def _after(step: Mapping[str, Any]) -> tuple[str, str]:
    if step["step"] in ("Touch", "Raise", "Release"):
        return DURING[step["step"]]
    if step["step"] == "Read" and step["hand"] == "free":
        return "", ""  # its zero is read with a blade clamped or without: all stays as it is
    return AFTER.get(step.get("hand", ""), ("", ""))
