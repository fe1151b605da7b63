"""What load cell and angle sensor should read by their makers' figures, without any calibration.

Good for practice and to notice a weight entered in a wrong unit, never for a result.
"""

import math

from rig.bench import Bench
from rig.board.wire import ANGLE_SUM
from rig.measure.scales import Scale

# Bridge converter at gain 128: full scale +-0.5 excitation/128 (its data sheet).
CODES_PER_RATIO = (1 << 23) * 256
LARGEST_SUM = 1023 * ANGLE_SUM
U_LOAD = 0.05
U_ANGLE = 0.03


def nominal_load(bench: Bench) -> Scale:
    """N.m for each code, from capacity, sensitivity and arm."""
    capacity_nm = bench.cell.capacity_n * bench.pry.arm.length_m
    per_code = capacity_nm / (bench.cell.sensitivity_mv_v * 1e-3 * CODES_PER_RATIO)
    line = (0.0, per_code)
    return Scale(line, line, U_LOAD, 0.0, math.inf, 0.0, capacity_nm, "N.m", "maker's figures")


def nominal_angle(bench: Bench) -> Scale:
    """Radians for each sum of conversions, the zero mark in the middle of the range."""
    sensor = bench.pry.angle
    per_share = 1 / sensor.per_rad
    middle = (sensor.high_share + sensor.low_share) / 2
    line = (-middle * per_share, per_share / LARGEST_SUM)
    reach = math.radians(bench.pry.arm.stop_deg)
    return Scale(
        line, line, U_ANGLE, math.radians(2), math.inf, 0.0, reach, "rad", "maker's figures"
    )
