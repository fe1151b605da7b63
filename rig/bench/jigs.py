"""Load cell, pry jig and twist jig, as the bench file states them."""

import math
from typing import Annotated, Literal

from pydantic import Field, model_validator

from rig.bench.part import Part


class Cell(Part):
    """The load cell, and where it is mounted."""

    serial: str = Field(min_length=1)
    mounted: Literal["arm", "carriage"]
    capacity_n: float = Field(gt=0, le=5000)
    sensitivity_mv_v: float = Field(gt=0.1, le=10)


class Arm(Part):
    """The arm that pries and twists."""

    length_m: float = Field(gt=0.02, le=2)
    u_length_m: float = Field(gt=0)
    calibration_m: float = Field(gt=0.02, le=2)
    free_m: float = Field(gt=0.001, le=0.5)
    u_free_m: float = Field(gt=0)
    u_calibration_m: float = Field(gt=0)
    stop_deg: float = Field(gt=0, le=180)
    u_align_deg: float = Field(gt=0, le=10)


class AngleSensor(Part):
    """The arm's angle sensor, as its maker states it and as it is mounted.

    Its output goes from `low_share` of the supply with the arm far left to `high_share` far right.
    A sensor that faces its magnet from the other side has the larger of the two on the left: that
    is a setting, and no reason to touch its supply wires.
    """

    span_deg: float = Field(gt=0, le=360)
    low_share: float = Field(ge=0, le=1)
    high_share: float = Field(ge=0, le=1)

    @property
    def per_rad(self) -> float:
        """Share of the supply for each radian to the right; below zero for a falling sensor."""
        return (self.high_share - self.low_share) / math.radians(self.span_deg)

    @model_validator(mode="after")
    def _turns(self) -> "AngleSensor":
        if self.low_share == self.high_share:
            raise ValueError("angle.low_share and angle.high_share must differ")
        return self


class JigCalibration(Part):
    """Dead weights and stops that the jig is calibrated with."""

    masses_kg: tuple[Annotated[float, Field(gt=0, le=50)], ...] = Field(min_length=3)
    u_mass_relative: float = Field(gt=0, le=0.05)
    density_kg_m3: float = Field(gt=500, le=25000)
    stops_deg: tuple[Annotated[float, Field(ge=-180, le=180)], ...] = Field(min_length=2)
    u_stop_deg: float = Field(gt=0)
    settle_s: float = Field(gt=0, le=60)
    read_s: float = Field(gt=0.2, le=60)
    months_valid: int = Field(ge=1, le=60)


class JigCheck(Part):
    """The quick check before trials."""

    mass_kg: float = Field(gt=0, le=50)


class PryLimits(Part):
    """How a tip is pried, and what a trial may look like."""

    depth_m: float = Field(gt=0)
    preload_nm: float = Field(gt=0)
    onset_offset_deg: float = Field(gt=0, le=10)
    rate_low_deg_s: float = Field(gt=0)
    rate_high_deg_s: float = Field(gt=0)
    ramp_low_s: float = Field(gt=0)
    ramp_high_s: float = Field(gt=0)
    angle_limit_deg: float = Field(gt=0, le=180)
    capacity_share: float = Field(gt=0, le=1)
    sweep_scatter_nm: float = Field(gt=0)
    drift_limit_share: float = Field(gt=0, lt=1)
    under_read_limit_share: float = Field(gt=0, lt=1)


class PryJig(Part):
    """The pry jig: arm, cell seat, block and angle plate."""

    fixture: str
    arm: Arm
    angle: AngleSensor
    calibration: JigCalibration
    check: JigCheck
    pry: PryLimits

    @model_validator(mode="after")
    def _in_order(self) -> "PryJig":
        pry = self.pry
        if pry.rate_low_deg_s >= pry.rate_high_deg_s:
            raise ValueError("pry.rate_low_deg_s must be below pry.rate_high_deg_s")
        if pry.ramp_low_s >= pry.ramp_high_s:
            raise ValueError("pry.ramp_low_s must be below pry.ramp_high_s")
        if pry.angle_limit_deg >= self.arm.stop_deg:
            raise ValueError("pry.angle_limit_deg must be below arm.stop_deg")
        return self


class Slot(Part):
    """Where the edge stands in the block."""

    length_m: float = Field(gt=0)
    u_length_m: float = Field(gt=0)
    depth_m: float = Field(gt=0)


class TwistLimits(Part):
    """How an edge is twisted, and what a trial may look like."""

    amplitude_deg: float = Field(gt=0, le=90)
    cycles: int = Field(ge=1, le=200)
    rate_low_deg_s: float = Field(gt=0)
    rate_high_deg_s: float = Field(gt=0)
    overshoot_deg: float = Field(gt=0)
    drift_limit_share: float = Field(gt=0, lt=1)


class TwistJig(Part):
    """The twist jig's own part; arm, cell and angle sensor are the pry jig's."""

    fixture: str
    slot: Slot
    twist: TwistLimits
