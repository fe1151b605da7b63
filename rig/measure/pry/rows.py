"""Rows that the budgets of a pry trial have in common."""

import math
from dataclasses import dataclass

from rig.measure.budget import Input, rectangular
from rig.measure.pry.facts import ArmRecord, PryFacts
from rig.measure.pry.loading import OVERLAP
from rig.measure.pry.motion import U_DELAY
from rig.measure.pry.straight import Straight
from rig.measure.pry.trial import Trial

# A certificate's point error belongs to a stretch of the scale: readings this far apart have
# errors of their own, closer ones share them (stops of an angle plate stand 15 degrees apart).
ALIKE_RAD = math.radians(15.0)


@dataclass(frozen=True)
class Rows:
    """Makes the inputs; torque corrections are N.m on the specimen's torque."""

    found: Trial
    record: ArmRecord
    facts: PryFacts
    direction: int

    def torque(self) -> list[Input]:
        """Certificate, pull, zero, arm alone."""
        scale, point = self.facts.torque.inputs("torque")
        return [scale, point, self.align(), self.zero(), self.no_load()]

    def align(self) -> Input:
        """The pull is off the square by some angle phi: torque is F L cos(phi)."""
        u = self.facts.u_align_rad
        # phi normal with u: 1 - phi^2/2 has mean 1 - u^2/2 and standard deviation u^2/sqrt(2).
        source = f"pull within {math.degrees(u):.2g} degrees of the square"
        return Input("align", 1 - u * u / 2, u * u / math.sqrt(2), math.inf, source, "1")

    def zero(self) -> Input:
        """Zero moved evenly from before to after; its middle was taken off."""
        slope = abs(self.found.made.slope_nm)
        before, after = self.record.zero, self.record.zero_after
        if after is None:
            limit = self.facts.limits.drift_limit_share * self.found.loaded.end_nm
            return rectangular("zero", 0.0, limit, "not read after: the bench's limit", "N.m")
        half = abs(after.value - before.value) / 2 * slope
        read = math.hypot(before.u, after.u) / 2 * slope
        source = "zero code before and after: half of its drift, and scatter"
        return Input("zero", 0.0, math.hypot(half / math.sqrt(3), read), math.inf, source, "N.m")

    def no_load(self) -> Input:
        """The arm alone."""
        return Input("no_load", 0.0, self.facts.sweep.u_nm, math.inf, "no-load sweep", "N.m")

    def sampling(self) -> list[Input]:
        """Instant of the break, and the filter's delay, as torque of the rise."""
        loaded = self.found.loaded
        broke = loaded.broke
        rise = max(0.0, loaded.end_slope * loaded.end_rate)
        half = 0.0 if broke is None else broke.half_s * rise
        instant = "the largest torque was held" if broke is None else f"instant by {broke.by}"
        delay = 0.0 if broke is None else U_DELAY * self.found.made.period_s * rise
        return [
            rectangular("sampling", 0.0, half, instant, "N.m"),
            Input("filter", 0.0, delay, math.inf, "delay of the converter's filter", "N.m"),
        ]

    def instant(self) -> Input:
        """Instant of the break as an arm angle."""
        loaded = self.found.loaded
        if loaded.broke is None:
            return rectangular(
                "instant", 0.0, self._flat_rad(), "the largest torque is a flat one", "rad"
            )
        half = abs(loaded.end_rate) * loaded.broke.half_s
        return rectangular("instant", 0.0, half, f"instant by {loaded.broke.by}", "rad")

    def _flat_rad(self) -> float:
        """Half the stretch over which the torque cannot be told from its largest value."""
        loaded = self.found.loaded
        made = self.found.made
        near = made.net_nm[loaded.first :] >= loaded.end_nm - 2 * loaded.u_end_nm
        angle = made.angle_rad[loaded.first :][near]
        return float(angle.max() - angle.min()) / 2 if angle.size else 0.0

    def preload_point(self, name: str = "preload_point") -> Input:
        """Torque errors move the angle at which the pre-load is reached."""
        zero, alone = self.zero().u, self.facts.sweep.u_nm
        friction = abs(self.facts.sweep.friction_nm) / math.sqrt(3)  # the arm hardly moves yet
        line = self.found.line
        scatter = 0.0 if line is None else OVERLAP * line.scatter
        error = math.sqrt(zero**2 + alone**2 + friction**2 + scatter**2)
        u = error / self.found.loaded.start_slope
        return Input(name, 0.0, u, math.inf, "torque errors where pre-load is reached", "rad")

    def angle_between(self, name: str, span_rad: float, source: str) -> Input:
        """A difference of two arm angles."""
        scale = self.facts.angle
        return Input(
            name, span_rad, self.u_between(span_rad), scale.dof, f"{source}; {scale.source}", "rad"
        )

    def u_between(self, span_rad: float) -> float:
        """Standard uncertainty of a difference of two arm angles."""
        scale = self.facts.angle
        apart = 2 * (1 - math.exp(-((span_rad / ALIKE_RAD) ** 2) / 2))
        return math.hypot(scale.u_relative * span_rad, scale.u_absolute * math.sqrt(apart))

    def angle_gain(self, span_rad: float) -> Input:
        """True over shown angle across a stretch, a factor near one."""
        u = self.u_between(span_rad) / span_rad
        return Input("angle_gain", 1.0, u, self.facts.angle.dof, self.facts.angle.source, "1")

    def torque_slope(self, line: Straight) -> list[Input]:
        """What bends the slope of torque over angle."""
        scale, point = self.facts.torque.inputs("torque")
        span = line.span_rad
        alone = self.facts.sweep.u_nm * math.sqrt(2) / span
        bow = point.u / span
        return [
            scale,
            self.align(),
            Input("no_load_slope", 0.0, alone, math.inf, "no-load sweep", "N.m/rad"),
            Input("torque_bow", 0.0, bow, point.dof, point.source, "N.m/rad"),
        ]
