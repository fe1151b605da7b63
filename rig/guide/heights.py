"""Reading the height at rest, and guiding the carriage into a band of heights."""

from collections import deque
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rig.board.link import Link
from rig.board.wire import Input
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.hazards import Warned
from rig.guide.operator import GO_ON, Operator
from rig.guide.steps import Raise

REST_S = 1.0
REST_COUNTS = 2
LIMIT_S = 300.0
STUCK_S = 60.0
KNOWN_S = 5.0
FELL_M, FELL_S = 0.10, 0.15  # so far in so short a time: no hand lowers it like that
BELOW_M = 0.020  # no carriage gets so far below the height at which its striker rests
WIDTH = 31
AGAIN = "contact"
"""The word with which a person takes a contact back."""


@dataclass
class Rest:
    """Watches the height until it has been still for `REST_S`."""

    link: Link
    _seen: deque[tuple[float, int]] = field(default_factory=deque)

    def still(self) -> bool:
        """Take the present height in; True once it has rested long enough."""
        now, position = self.link.clock.now(), self.link.position
        if position is None:
            return False
        self._seen.append((now, position))
        while len(self._seen) > 2 and self._seen[1][0] <= now - REST_S:
            self._seen.popleft()
        values = [count for _, count in self._seen]
        if max(values) - min(values) > REST_COUNTS:
            self._seen.clear()
            return False
        return now - self._seen[0][0] >= REST_S

    def values(self) -> list[int]:
        """The counts of the rest."""
        return [count for _, count in self._seen]


def touch(device: Device, operator: Operator) -> dict[str, Any]:
    """Height with the striker at rest on the specimen: median and spread in counts.

    Raises:
        RigError: no heights come, or it did not come to rest within five minutes.
    """
    link = device.link
    rest, began = Rest(link), link.clock.now()

    def still() -> bool:
        if link.position is None and link.clock.now() - began > KNOWN_S:
            raise RigError(
                f"no heights have come from the board for {KNOWN_S:.0f} s, though it answers",
                where="encoder",
                remedy=f"unplug the board and plug it in again, {GO_ON}",
            )
        operator.live("waiting until it is still")
        return rest.still()

    if not link.wait_until(still, LIMIT_S):
        raise RigError(
            "the carriage did not come to rest on the specimen within 5 minutes",
            remedy=f"look for what moves it, {GO_ON}",
        )
    values = rest.values()
    return {
        "counts": float(np.median(values)),
        "spread_counts": float(np.std(values)),
        "boot": link.boot,
    }


def raise_into(device: Device, operator: Operator, step: Raise, warned: Warned) -> dict[str, Any]:
    """Live read-out until the carriage hangs still inside the band.

    A contact that turns out wrong ends it early: see `Raise` for the outcome.

    Raises:
        RigError: height falls again right after a new contact, does not move at all, or five
            minutes are over.
    """
    link = device.link
    for line in warned.lines(("falling_mass:out", "pinch")):
        operator.tell(f"! {line}")
    operator.tell(f"{step.text} (Pressed Enter before it touched? Type {AGAIN}, then Enter.)")
    link.wait_until(lambda: link.position is not None or link.boot != step.boot, KNOWN_S)
    started = link.position
    if link.boot != step.boot or started is None:
        return _ended(link, "RESTARTED")
    if _below(started, step):  # a resumed raise: nothing has been seen to move the wrong way
        return _ended(link, "READS_LOWER")
    device.act("raise", {"height_m": (step.target_counts - step.zero_counts) * step.count_m})
    watched = _Raised(device, operator, step, started)
    if link.wait_until(watched.ended, LIMIT_S):
        return _ended(link, watched.why)
    raise RigError(
        f"the carriage was not brought into its band within 5 minutes (it is at "
        f"{_mm(watched.position, step):.1f} mm, wanted {_mm(step.target_counts, step):.1f} mm)",
        remedy=f"set the cross-head, {GO_ON}",
    )


def _ended(link: Link, why: str) -> dict[str, Any]:
    return {"counts": None if why else link.position, "boot": link.boot, "why": why}


class _Raised:
    """Watches the height while the carriage is raised; `why` as in the outcome of `Raise`."""

    def __init__(self, device: Device, operator: Operator, step: Raise, started: int) -> None:
        self.position, self.why = started, ""
        self._link, self._operator, self._step = device.link, operator, step
        self._rest, self._began = Rest(device.link), device.link.clock.now()
        self._lowest = self._highest = started
        self._last: deque[tuple[float, int]] = deque()

    def ended(self) -> bool:
        """Whether it hangs still in its band, or a reason is there to find contact again."""
        link, step = self._link, self._step
        if link.boot != step.boot or link.position is None:
            self.why = "RESTARTED"
            return True
        self.position = link.position
        self._lowest = min(self._lowest, self.position)
        self._highest = max(self._highest, self.position)
        self._operator.live(f"{gauge(self.position, step)}   {lights(link)}")
        if self._fell():
            self._operator.tell(
                "IT FELL, with nothing permitted. Hands out, pin in from the side; look at hook, "
                "wedge and hand lever before you raise it again."
            )
            self.why = "FELL"
        elif self._operator.typed(AGAIN):
            self.why = "SAID"
        elif _below(self.position, step):
            _require_sense(step)
            self.why = "READS_LOWER"
        if self.why:
            return True
        inside = step.low_counts <= self.position <= step.high_counts
        if not inside:
            self._require_motion()
        return self._rest.still() and inside

    def _fell(self) -> bool:
        """Whether it came down as nothing comes down that a hand or the catch holds."""
        now = self._link.clock.now()
        self._last.append((now, self.position))
        while self._last[0][0] < now - FELL_S:
            self._last.popleft()
        highest = max(position for _, position in self._last)
        return (highest - self.position) * self._step.count_m >= FELL_M

    def _require_motion(self) -> None:
        still = self._highest - self._lowest <= REST_COUNTS
        if still and self._link.clock.now() - self._began > STUCK_S:
            raise RigError(
                f"the height has not changed for {STUCK_S:.0f} s",
                where="encoder",
                remedy=f"check that its plug is in and its wire is hooked to the carriage, {GO_ON}",
            )


def _below(position: int, step: Raise) -> bool:
    return _mm(position, step) < -BELOW_M * 1e3


def _require_sense(step: Raise) -> None:
    """Right after a new contact it is not the contact any more."""
    if step.renewed:
        raise RigError(
            "the height reads lower while the carriage is raised",
            where="encoder",
            remedy=f"unplug the board, swap the encoder's wires A and B, plug it in, {GO_ON}",
        )


def _mm(counts: float, step: Raise) -> float:
    return (counts - step.zero_counts) * step.count_m * 1e3


def gauge(position: int, step: Raise) -> str:
    """One line: the height, where it stands against its band, and which way to move."""
    span = max(step.high_counts - step.low_counts, 1)
    offset = (position - step.target_counts) / span
    at = round(WIDTH / 2 + offset * WIDTH / 3)
    marks = [" "] * WIDTH
    marks[WIDTH // 2 - WIDTH // 6] = "["
    marks[WIDTH // 2 + WIDTH // 6] = "]"
    marks[min(max(at, 0), WIDTH - 1)] = "|"
    inside = step.low_counts <= position <= step.high_counts
    advice = "hold still" if inside else "lower" if offset > 0 else "raise"
    return (
        f"{_mm(position, step):7.1f} mm  {''.join(marks)}  "
        f"target {_mm(step.target_counts, step):.1f} mm: {advice}"
    )


def lights(link: Link) -> str:
    """Guard, e-stop and line in a few words."""
    guard = "guard closed" if link.input(Input.GUARD) else "GUARD OPEN"
    estop = "e-stop ok" if link.input(Input.ESTOP) else "E-STOP OPEN"
    lost = sum(gap.missing for gap in link.decoder.gaps)
    return f"{guard} · {estop} · {lost} frames lost"
