"""The draw-wire's quadrature encoder: counts, edges and its faults."""

import math
from collections.abc import Iterator

from rig.virtual.tower.dynamics import Segment
from rig.virtual.tower.parameters import TowerTruth

EDGE_SPAN_S = 62.5e-6  # in so short a span the drum moves evenly


def phases(count: int) -> tuple[int, int]:
    """Levels of A and B at a count; A leads while the count rises."""
    return ((0, 0), (1, 0), (1, 1), (0, 1))[count & 3]


class Encoder:
    """Turns drum positions into counts, with phase, edge errors and guide rattle.

    `sign` is 1, -1 with A and B swapped, 0 with the plug out; counts go on from where they
    were when it changes.
    """

    def __init__(self, truth: TowerTruth, drum_m: float) -> None:
        self._truth = truth
        self._sign, self._offset = 1, 0
        self._told = self._raw(drum_m)

    def rewire(self, sign: int, drum_m: float) -> None:
        """Change the wiring with the drum at rest at `drum_m`."""
        now = self.at_rest(drum_m)
        self._sign, self._told = sign, self._raw(drum_m)
        self._offset = now - sign * self._raw(drum_m)

    def at_rest(self, drum_m: float) -> int:
        """Count with nothing moving."""
        return self._shown(self._raw(drum_m))

    def count(self, segment: Segment, t: float) -> int:
        """Count at `t` within a step."""
        return self._shown(self._raw(self._seen(segment, t)))

    def edges(self, segment: Segment) -> Iterator[tuple[float, int, int]]:
        """Times in a step at which the count changes, with the counts before and after.

        Goes on from the last count told: steps must come one after another.
        """
        if not self._sign:
            return
        spans = max(1, math.ceil((segment.t1 - segment.t0) / EDGE_SPAN_S))
        length = (segment.t1 - segment.t0) / spans
        t0, seen0 = segment.t0, self._seen(segment, segment.t0)
        for span in range(1, spans + 1):
            t1 = segment.t0 + span * length
            seen1 = self._seen(segment, t1)
            for share, old, new in self._passed(seen0, seen1):
                yield t0 + share * (t1 - t0), self._shown(old), self._shown(new)
            t0, seen0 = t1, seen1

    def _shown(self, raw: int) -> int:
        return self._sign * raw + self._offset

    def _passed(self, seen0: float, seen1: float) -> Iterator[tuple[float, int, int]]:
        """Edges between two positions: share of the way, raw counts before and after."""
        end = self._raw(seen1)
        while self._told != end:
            old = self._told
            self._told += 1 if end > old else -1
            edge_m = self._edge_m(max(old, self._told))
            share = (edge_m - seen0) / (seen1 - seen0) if seen1 != seen0 else 0.0
            yield min(1.0, max(0.0, share)), old, self._told

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
