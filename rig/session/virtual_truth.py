"""What the bench states, as the beliefs that a virtual rig's true values are drawn about."""

import math
from typing import TYPE_CHECKING

from rig.bench import Bench

if TYPE_CHECKING:
    from rig.virtual.arm.draw import JigNominal
    from rig.virtual.frame.plant import FrameTruth
    from rig.virtual.tower.draw import Nominal


def tower_nominal(bench: Bench) -> "Nominal":
    """The tower: masses, lengths and gravity, and how sure the bench is of them."""
    from rig.measure.gravity import local_gravity
    from rig.virtual.tower.draw import Nominal
    from rig.virtual.tower.parameters import TowerTruth

    stated, site = bench.tower, bench.site
    return Nominal(
        belief=TowerTruth(
            mass_kg=stated.carriage.mass_kg,
            gravity=local_gravity(site.latitude_deg, site.elevation_m or 0.0).value,
            pitch_m=stated.wire.count_m,
            drum_kg=stated.wire.drum_mass_kg,
            flag_m=stated.gate.flag_m,
            gate_m=stated.gate.above_contact_m,
        ),
        u_mass_kg=stated.carriage.u_mass_kg,
        u_scale=stated.wire.u_count_relative,
        u_flag_m=stated.gate.u_flag_m,
        u_gate_m=stated.gate.u_above_contact_m,
        u_drum_kg=stated.wire.u_drum_mass_kg,
        u_contact_m=stated.contact.u_contact_m,
    )


def jig_nominal(bench: Bench, gravity: float) -> "JigNominal":
    """The pry and twist jig with its cell, sensor, weights and stops, in the tower's place."""
    from rig.virtual.arm.draw import JigNominal
    from rig.virtual.arm.truth import CellTruth, JigTruth, SensorTruth

    stated, cell = bench.pry, bench.cell
    arm, angle, weights = stated.arm, stated.angle, stated.calibration
    capacity_nm = cell.capacity_n * arm.length_m
    slope = cell.sensitivity_mv_v / 1e3 / capacity_nm
    belief = JigTruth(
        arm_m=arm.length_m,
        calibration_arm_m=arm.calibration_m,
        gravity=gravity,
        weights_kg_m3=weights.density_kg_m3,
        stop_rad=math.radians(arm.stop_deg),
        limit_rad=math.radians(stated.pry.angle_limit_deg),
        limit_share=stated.pry.capacity_share,
        cell=CellTruth(capacity_nm=capacity_nm, right=slope, left=slope),
        sensor=SensorTruth(
            span_rad=math.radians(angle.span_deg), low=angle.low_share, high=angle.high_share
        ),
    )
    hung = {round(mass * 1000) for mass in (*weights.masses_kg, stated.check.mass_kg)}
    return JigNominal(
        belief=belief,
        u_arm_m=arm.u_calibration_m,
        u_gravity=0.0,
        weights_g=tuple(sorted(hung)),
        u_weight=weights.u_mass_relative,
        u_stop_rad=math.radians(weights.u_stop_deg),
    )


def frame_belief(bench: Bench) -> "FrameTruth":
    """The cutting frame with the cell as if it sat at the carriage."""
    from rig.virtual.frame.plant import FrameTruth

    stated, cell = bench.frame, bench.cell
    slope = math.tan(math.radians(stated.blade.slope_deg))
    touches_m = stated.blade.clear_m / slope
    return FrameTruth(
        length_m=stated.stroke.length_m,
        zone_m=(touches_m, touches_m + 0.6 * stated.media.thickest_m / slope),
        turn_s=stated.drive.stroke_s,
        capacity_n=cell.capacity_n,
        sensitivity=cell.sensitivity_mv_v / 1e3,
    )
