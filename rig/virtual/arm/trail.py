"""Where the arm was and what the cell felt, over time: stretches of motion and of rest."""

import copy
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from rig.virtual.arm.cell import Cell, Still
from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.truth import JigTruth, SensorTruth

KEPT_S = 2.0  # a converter looks back half a second at most


@dataclass
class Stretch:
    """Nodes of time, arm angle, cell torque and bridge output; `still` of a rest without end."""

    end_s: float
    t: Floats
    angle: Floats
    torque: Floats
    ratio: Floats
    still: Still | None = None


class Trail:
    """The timeline of one jig; motions are added at its end, in order.

    Attributes:
        free_at_s: when the last motion ends.
        angle, torque: arm angle and cell torque then.
        plan: another object after each motion that was added.
    """

    def __init__(self, nature: JigTruth) -> None:
        self._cell = Cell(nature.cell)
        self._sensor = nature.sensor
        self.free_at_s = 0.0
        self.angle = self.torque = 0.0
        self.plan = object()
        self._stretches = [self._rest()]

    def add(self, t: Floats, angle: Floats, torque: Floats) -> None:
        """A motion, from rest at `t[0]` on; shapes (n,)."""
        self._cell.rest(float(t[0]))
        self._stretches[-1].end_s = float(t[0])
        ratio = self._cell.respond(t, torque)
        self._stretches.append(Stretch(float(t[-1]), t, angle, torque, ratio))
        self.free_at_s = float(t[-1])
        self.angle, self.torque = float(angle[-1]), float(torque[-1])
        self._stretches.append(self._rest())
        self.plan = object()

    def copy(self) -> "Trail":
        """Another trail that goes on from here by itself."""
        other = copy.copy(self)
        other._cell = copy.copy(self._cell)
        other._stretches = [replace(stretch) for stretch in self._stretches]
        return other

    def forget(self, now_s: float) -> None:
        """Drop what nobody will look at again."""
        kept = now_s - KEPT_S
        self._stretches = [stretch for stretch in self._stretches if stretch.end_s > kept]

    def angle_at(self, t: ArrayLike) -> Floats:
        """Arm angle, rad; shape of `t`."""
        return self._look(t, lambda stretch, own: np.interp(own, stretch.t, stretch.angle))

    def torque_at(self, t: ArrayLike) -> Floats:
        """Torque at the cell, N.m; shape of `t`."""
        return self._look(t, lambda stretch, own: np.interp(own, stretch.t, stretch.torque))

    def bridge_at(self, t: ArrayLike) -> Floats:
        """Bridge output with all the cell's errors, V/V; shape of `t`."""
        return self._look(t, _ratio)

    def sensor_at(self, t: ArrayLike) -> Floats:
        """Output of the angle sensor as a share of its supply; shape of `t`."""
        return sensed(self._sensor, self.angle_at(t))

    def _rest(self) -> Stretch:
        at = np.array([self.free_at_s])
        still = self._cell.still()
        angle, torque = np.array([self.angle]), np.array([self.torque])
        return Stretch(float("inf"), at, angle, torque, still.ratio(at), still)

    def _look(self, t: ArrayLike, pick: Callable[[Stretch, Floats], Floats]) -> Floats:
        wanted = np.asarray(t, dtype=np.float64)
        flat = np.atleast_1d(wanted)
        found = np.zeros_like(flat)
        begin = -np.inf
        for stretch in self._stretches:
            own = (flat >= begin) & (flat < stretch.end_s)
            if own.any():
                found[own] = pick(stretch, flat[own])
            begin = stretch.end_s
        return found.reshape(wanted.shape)


def _ratio(stretch: Stretch, t: Floats) -> Floats:
    if stretch.still is not None:
        return stretch.still.ratio(t)
    return np.interp(t, stretch.t, stretch.ratio)


def sensed(sensor: SensorTruth, angle: Floats) -> Floats:
    """Ratio (0..1) of the rotary sensor at arm angles."""
    straight = (angle + sensor.mount_rad) * sensor.ratio_per_rad * (1 + sensor.scale_error)
    middle, reach = (sensor.low + sensor.high) / 2, sensor.high - sensor.low
    bow = reach * sensor.bow * np.sin(2 * np.pi * straight / reach + sensor.bow_phase_rad)
    ratio: Floats = np.clip(middle + straight + bow, 0.0, 1.0)
    return ratio
