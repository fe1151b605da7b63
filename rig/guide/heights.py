"""Reading the height at rest, and guiding the carriage into a band of heights."""

from collections import deque
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rig.board.link import Link
from rig.board.wire import Input
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.operator import Operator
from rig.guide.steps import Raise

REST_S = 1.0
REST_COUNTS = 2
LIMIT_S = 300.0
STUCK_S = 60.0
WIDTH = 31


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
        RigError: it did not come to rest within five minutes.
    """
    link = device.link
    rest = Rest(link)

    def still() -> bool:
        operator.live(f"resting? height {link.position} counts   {lights(link)}")
        return rest.still()

    if not link.wait_until(still, LIMIT_S):
        raise RigError(
            "the carriage did not come to rest on the specimen within 5 minutes",
            remedy="look for what moves it, then start the same command again",
        )
    values = rest.values()
    return {
        "counts": float(np.median(values)),
        "spread_counts": float(np.std(values)),
        "boot": link.boot,
    }


def raise_into(device: Device, operator: Operator, step: Raise) -> dict[str, Any]:
    """Live read-out until the carriage hangs still inside the band.

    Raises:
        RigError: height moves the wrong way or not at all, or five minutes are over.
    """
    link = device.link
    if link.boot != step.boot:
        return {"counts": None, "boot": link.boot}
    operator.tell(step.text)
    device.act("raise", {"height_m": (step.target_counts - step.zero_counts) * step.count_m})
    rest = Rest(link)
    began, heights = link.clock.now(), [link.position or 0]

    def there() -> bool:
        if link.boot != step.boot:
            return True
        position = link.position if link.position is not None else heights[-1]
        heights[:] = [min(heights[0], position), max(heights[-1], position)]
        operator.live(f"{gauge(position, step)}   {lights(link)}")
        _require_sense(link, position, heights, step, link.clock.now() - began)
        return rest.still() and step.low_counts <= position <= step.high_counts

    if not link.wait_until(there, LIMIT_S):
        raise RigError(
            f"the carriage was not brought into its band within 5 minutes (it is at "
            f"{_mm(link.position or 0, step):.1f} mm, "
            f"wanted {_mm(step.target_counts, step):.1f} mm)",
            remedy="set the cross-head, then start the same command again",
        )
    here = link.position if link.boot == step.boot else None
    return {"counts": here, "boot": link.boot}


def _require_sense(
    link: Link, position: int, extremes: list[int], step: Raise, waited_s: float
) -> None:
    if _mm(position, step) < -20:
        raise RigError(
            "the height reads lower while the carriage is raised",
            where="encoder",
            remedy="swap the encoder's wires A and B, then start the same command again; or, if "
            "contact was confirmed before the striker rested, start anew with --abandon REASON",
        )
    still = extremes[-1] - extremes[0] <= REST_COUNTS
    if still and waited_s > STUCK_S and not step.low_counts <= position <= step.high_counts:
        raise RigError(
            f"the height has not changed for {STUCK_S:.0f} s",
            where="encoder",
            remedy="check that its plug is in and its wire is hooked to the carriage, then start "
            "the same command again",
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
