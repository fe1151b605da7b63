"""Rows that the budgets of a pry trial have in common."""

import math
from dataclasses import dataclass

from rig.measure.budget import Input, rectangular
from rig.measure.pry.facts import ArmRecord, PryFacts
from rig.measure.pry.motion import U_DELAY
from rig.measure.pry.scatter import LEFT_SHARE
from rig.measure.pry.straight import Straight
from rig.measure.pry.trial import Trial
from rig.measure.scales import Scale

# A certificate's point error is mostly what a curve of few figures cannot follow: a smooth bow. Two
# readings share it when they are close; they have errors of their own from about two fifths of
# the calibrated range on (found with tests/measure/pry/coverage.py).
ALIKE_SHARE = 0.4


@dataclass(frozen=True)
class Rows:
    """Makes the inputs; torque corrections are N.m on the specimen's torque."""

    found: Trial
    record: ArmRecord
    facts: PryFacts
    direction: int

    def torque(self) -> list[Input]:
        """Certificate, pull, zero, arm alone."""
        scale, _ = self.facts.torque.inputs("torque")
        return [scale, self.torque_point(), self.align(), self.zero(), self.no_load()]

    def torque_point(self) -> Input:
        """The certificate's point error; near zero, where every reading starts, it goes to none."""
        scale = self.facts.torque
        u = min(scale.u_absolute, _apart(scale, self.found.loaded.peak_nm))
        return Input("torque_point", 0.0, u, scale.dof, scale.source, scale.unit)

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
            limit = self.facts.limits.drift_limit_share * self.found.loaded.peak_nm
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
        rise = max(0.0, loaded.end.slope * loaded.end_rate)
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

    def carried(self) -> Input:
        """The arm's angle carried on to the break."""
        u = self.found.loaded.end.u_rad
        return Input("carried", 0.0, u, math.inf, "arm angle carried on to the break", "rad")

    def _flat_rad(self) -> float:
        """Half the stretch over which the torque cannot be told from its largest value."""
        loaded = self.found.loaded
        made = self.found.made
        near = made.net_nm[loaded.first :] >= loaded.peak_nm - 2 * loaded.end.u_nm
        angle = made.angle_rad[loaded.first :][near]
        return float(angle.max() - angle.min()) / 2 if angle.size else 0.0

    def preload_point(self, name: str = "preload_point") -> Input:
        """Torque errors move the angle at which the pre-load is reached."""
        zero, alone = self.zero().u, self.facts.sweep.u_nm
        # The arm hardly moves yet: its friction is somewhere between half and all of its full size.
        friction = abs(self.facts.sweep.friction_nm) / (2 * math.sqrt(3))
        line = self.found.line
        scatter = 0.0 if line is None else line.scatter * LEFT_SHARE
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
        return math.hypot(scale.u_relative * span_rad, _apart(scale, span_rad))

    def bow(self, name: str, reach_rad: float) -> Input:
        """How far an angle scale's bow bends a straight line carried on by `reach_rad`.

        A wrong slope of the scale bends nothing; what counts is the second derivative of its
        errors, sqrt(3) u/l^2 for errors alike over a length l (Gaussian correlation).
        """
        scale = self.facts.angle
        share = reach_rad / _alike(scale)
        u = scale.u_absolute * min(1.0, math.sqrt(3) / 2 * share**2)
        return Input(name, 0.0, u, scale.dof, f"bow of the angle scale; {scale.source}", "rad")

    def angle_gain(self, span_rad: float) -> Input:
        """True over shown angle across a stretch, a factor near one."""
        u = self.u_between(span_rad) / span_rad
        return Input("angle_gain", 1.0, u, self.facts.angle.dof, self.facts.angle.source, "1")

    def torque_slope(self, line: Straight) -> list[Input]:
        """What bends the slope of torque over angle."""
        scale, _ = self.facts.torque.inputs("torque")
        span = line.span_rad
        alone = self.facts.sweep.u_nm * math.sqrt(2) / span
        torques = line.slope * span
        bow = _apart(self.facts.torque, torques) / span
        return [
            scale,
            self.align(),
            Input("no_load_slope", 0.0, alone, math.inf, "no-load sweep", "N.m/rad"),
            Input("torque_bow", 0.0, bow, scale.dof, scale.source, "N.m/rad"),
        ]


def _apart(scale: Scale, difference: float) -> float:
    """Standard deviation by which the point errors of two readings so far apart differ."""
    share = difference / _alike(scale)
    return scale.u_absolute * math.sqrt(2 * (1 - math.exp(-(share**2) / 2)))


def _alike(scale: Scale) -> float:
    """How far apart readings share their point error: certificates reach to either side."""
    return ALIKE_SHARE * 2 * scale.high
