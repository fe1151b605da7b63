"""Rows that the budgets of a pry trial have in common."""

import math
from dataclasses import dataclass

from rig.measure.arm import shared_rows
from rig.measure.arm.facts import ArmRecord, PryFacts
from rig.measure.arm.motion import U_DELAY, U_SOONER
from rig.measure.arm.scatter import LEFT_SHARE
from rig.measure.arm.shared_rows import Array
from rig.measure.budget import Input, rectangular
from rig.measure.pry.loading import Loading
from rig.measure.pry.straight import Straight
from rig.measure.pry.trial import SOFTENING, Pried


@dataclass(frozen=True)
class Rows:
    """Makes the inputs; torque corrections are N.m on the specimen's torque."""

    found: Pried
    record: ArmRecord
    facts: PryFacts
    direction: int

    def torque(self) -> list[Input]:
        """Certificate, pull, zero, arm alone."""
        scale, _ = self.facts.torque.inputs("torque")
        return [scale, self.torque_point(), self.align(), self.zero(), self.no_load()]

    def torque_point(self) -> Input:
        """The torque certificate's point error at the peak."""
        return shared_rows.torque_point(self.facts.torque, self.found.loaded.peak_nm)

    def align(self) -> Input:
        """Pull off the square."""
        return shared_rows.align(self.facts.u_align_rad)

    def zero(self) -> Input:
        """Drift and scatter of zero."""
        limit = self.facts.limits.drift_limit_share * self.found.loaded.peak_nm
        return shared_rows.zero(self.record, self.found.made.code_nm, limit)

    def no_load(self) -> Input:
        """The arm alone."""
        return Input("no_load", 0.0, self.facts.sweep.u_nm, math.inf, "no-load sweep", "N.m")

    def sampling(self, loaded: Loading) -> list[Input]:
        """Instant of a loading's break, and the filter's delay, as torque of the rise."""
        broke, rise = loaded.broke, loaded.end.slope * loaded.end_rate
        rise = abs(rise) if self.facts.rule >= SOFTENING else max(0.0, rise)
        half = 0.0 if broke is None else broke.half_s * rise
        instant = "the largest torque was held" if broke is None else f"instant by {broke.by}"
        delay = 0.0 if broke is None else self._delay_s() * rise
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

    def _delay_s(self) -> float:
        """Standard uncertainty of the converter's delay."""
        periods = U_SOONER if self.facts.rule >= SOFTENING else U_DELAY
        return periods * self.found.made.period_s

    def start_delay(self) -> Input:
        """The delay where the torque reaches the pre-load, against an end that the arm tells."""
        loaded, made = self.found.loaded, self.found.made
        broke = loaded.broke
        told = self.facts.rule >= SOFTENING and broke is not None
        rate = abs(float(made.rate_rad_s()[loaded.first])) if told else 0.0
        u = self._delay_s() * rate
        return Input("filter", 0.0, u, math.inf, "delay of the converter's filter", "rad")

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
        friction = abs(self.facts.sweep.friction_nm) / (4 * math.sqrt(3))
        line = self.found.line
        scatter = 0.0 if line is None else line.scatter * LEFT_SHARE
        error = math.sqrt(zero**2 + alone**2 + friction**2 + scatter**2)
        u = error / self.found.loaded.start_slope
        return Input(name, 0.0, u, math.inf, "torque errors where pre-load is reached", "rad")

    def angle_between(self, name: str, span_rad: float, source: str) -> Input:
        """A difference of two arm angles."""
        return shared_rows.angle_between(self.facts.angle, name, span_rad, source)

    def angle_area(self, angle: Array, net: Array) -> Input:
        """The angle scale's errors on the area under torque over angle, J.

        `angle` in rad and `net` in N.m along the curve, shape (n,) each.
        """
        return shared_rows.angle_area(self.facts.angle, angle, net)

    def filter_area(self, angle: Array, net: Array) -> Input:
        """The filter's delay on that area, J: torques of a moment before or after.

        `angle` in rad and `net` in N.m along the curve, shape (n,) each.
        """
        rate = abs(self.found.loaded.end_rate)
        u = self._delay_s() * rate * float(net[-1] - net[0])
        return Input("filter", 0.0, abs(u), math.inf, "delay of the converter's filter", "J")

    def bow(self, name: str, reach_rad: float) -> Input:
        """How far an angle scale's bow bends a straight line carried on by `reach_rad`.

        A wrong slope of the scale bends nothing; what counts is the second derivative of its
        errors, sqrt(3) u/l^2 for errors alike over a length l (Gaussian correlation).
        """
        scale = self.facts.angle
        share = reach_rad / shared_rows.alike(scale)
        u = scale.u_absolute * min(1.0, math.sqrt(3) / 2 * share**2)
        return Input(name, 0.0, u, scale.dof, f"bow of the angle scale; {scale.source}", "rad")

    def angle_gain(self, span_rad: float) -> Input:
        """True over shown angle across a stretch, a factor near one."""
        return shared_rows.angle_gain(self.facts.angle, span_rad)

    def torque_slope(self, line: Straight) -> list[Input]:
        """What bends the slope of torque over angle."""
        scale, _ = self.facts.torque.inputs("torque")
        span = line.span_rad
        alone = self.facts.sweep.u_nm * math.sqrt(2) / span
        torques = line.slope * span
        bow = shared_rows.apart(self.facts.torque, torques) / span
        return [
            scale,
            self.align(),
            Input("no_load_slope", 0.0, alone, math.inf, "no-load sweep", "N.m/rad"),
            Input("torque_bow", 0.0, bow, scale.dof, scale.source, "N.m/rad"),
        ]
