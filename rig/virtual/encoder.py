"""The draw-wire's quadrature encoder: counts, edges and its faults."""

import math
from collections.abc import Iterator

from rig.virtual.dynamics import Segment
from rig.virtual.parameters import TowerTruth

EDGE_SPAN_S = 62.5e-6  # in so short a span the drum moves evenly


def phases(count: int) -> tuple[int, int]:
    """Levels of A and B at a count; A leads while the count rises."""
    return ((0, 0), (1, 0), (1, 1), (0, 1))[count & 3]


class Encoder:
    """Turns drum positions into counts, with phase, edge errors and guide rattle.

    `sign` is 1, -1 with A and B swapped, 0 with the plug out; counts go on from where they
    were when it changes.
    """

    def __init__(self, truth: TowerTruth) -> None:
        self._truth = truth
        self._sign, self._offset = 1, 0

    def rewire(self, sign: int, drum_m: float) -> None:
        """Change the wiring with the drum at rest at `drum_m`."""
        now = self.at_rest(drum_m)
        self._sign = sign
        self._offset = now - sign * self._raw(drum_m)

    def at_rest(self, drum_m: float) -> int:
        """Count with nothing moving."""
        return self._sign * self._raw(drum_m) + self._offset

    def count(self, segment: Segment, t: float) -> int:
        """Count at `t` within a step."""
        return self._sign * self._raw(self._seen(segment, t)) + self._offset

    def edges(self, segment: Segment) -> Iterator[tuple[float, int]]:
        """Times in a step at which the count changes, with the new count."""
        if not self._sign:
            return
        spans = max(1, math.ceil((segment.t1 - segment.t0) / EDGE_SPAN_S))
        length = (segment.t1 - segment.t0) / spans
        t0, seen0 = segment.t0, self._seen(segment, segment.t0)
        for span in range(1, spans + 1):
            t1 = segment.t0 + span * length
            seen1 = self._seen(segment, t1)
            for share, raw in self._passed(seen0, seen1):
                yield t0 + share * (t1 - t0), self._sign * raw + self._offset
            t0, seen0 = t1, seen1

    def _passed(self, seen0: float, seen1: float) -> Iterator[tuple[float, int]]:
        """Edges between two positions: share of the way, and the raw count after each."""
        old, new = self._raw(seen0), self._raw(seen1)
        step = 1 if new > old else -1
        for raw in range(old + step, new + step, step) if new != old else ():
            edge_m = self._edge_m(raw if step > 0 else raw + 1)
            yield min(1.0, max(0.0, (edge_m - seen0) / (seen1 - seen0))), raw

    def _edge_m(self, count: int) -> float:
        """Position of the edge between `count - 1` and `count`."""
        truth = self._truth
        return (count + truth.edge_errors[count & 3] - truth.phase_counts) * truth.pitch_m

    def _raw(self, seen_m: float) -> int:
        truth = self._truth
        fine = seen_m / truth.pitch_m + truth.phase_counts
        count = math.floor(fine)
        if fine - count < truth.edge_errors[count & 3]:
            return count - 1
        if fine - count >= 1 + truth.edge_errors[(count + 1) & 3]:
            return count + 1
        return count

    def _seen(self, segment: Segment, t: float) -> float:
        speed = abs(segment.speed(t))
        rattle = 0.0
        for part in self._truth.rattles:
            turn = 2 * math.pi * part.frequency_hz * t + part.phase_rad
            rattle += part.per_speed_s * speed * math.sin(turn)
        return segment.drum(t) + rattle
