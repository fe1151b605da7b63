"""Gravity at the bench, from its latitude and elevation."""

import math
from dataclasses import dataclass

from rig.errors import RigError
from rig.measure.budget import Input, rectangular

STANDARD_GRAVITY_M_S2 = (
    9.80665  # by definition (3rd CGPM, 1901); the value of no place in particular
)

# Real gravity departs from the normal formula. Free-air anomalies have a world-wide rms of about
# 35 mGal and reach 50 mGal and more over rough land (from memory, no source opened): 50 mGal.
ANOMALY_U_M_S2 = 0.0005
# Without a site: anywhere from the equator at this elevation to a pole at sea level.
HIGHEST_BENCH_M = 3000.0


@dataclass(frozen=True)
class Ellipsoid:
    """Constants of a normal gravity formula."""

    equator_m_s2: float
    k: float  # b gamma_pole / (a gamma_equator) - 1
    e2: float  # first eccentricity squared
    a_m: float  # semi-major axis
    f: float  # flattening
    m: float  # omega^2 a^2 b / GM


# NIMA TR8350.2, 3rd edition.
WGS84 = Ellipsoid(
    9.7803253359, 0.00193185265241, 0.00669437999014, 6378137.0, 1 / 298.257223563, 0.00344978650684
)
# Moritz 2000, Geodetic Reference System 1980, Journal of Geodesy 74.
GRS80 = Ellipsoid(
    9.7803267715, 0.001931851353, 0.00669438002290, 6378137.0, 1 / 298.257222101, 0.00344978600308
)


def normal_gravity(
    latitude_deg: float, height_m: float = 0.0, ellipsoid: Ellipsoid = WGS84
) -> float:
    """Normal gravity in m/s2: Somigliana's formula, carried to `height_m` to second order.

    The height term is equation 4-3 of NIMA TR8350.2; it holds to 1e-7 m/s2 below 2 km.

    Raises:
        RigError: the latitude is not within +-90 degrees.
    """
    if not -90 <= latitude_deg <= 90:
        raise RigError(
            f"latitude {latitude_deg} deg does not exist",
            remedy="give degrees north as positive, from -90 to 90",
            value=latitude_deg,
        )
    sin2 = math.sin(math.radians(latitude_deg)) ** 2
    on_ellipsoid = (
        ellipsoid.equator_m_s2 * (1 + ellipsoid.k * sin2) / math.sqrt(1 - ellipsoid.e2 * sin2)
    )
    slope = 2 / ellipsoid.a_m * (1 + ellipsoid.f + ellipsoid.m - 2 * ellipsoid.f * sin2)
    return on_ellipsoid * (1 - slope * height_m + 3 * (height_m / ellipsoid.a_m) ** 2)


def local_gravity(latitude_deg: float | None = None, elevation_m: float = 0.0) -> Input:
    """Gravity at the bench as an input of a budget; standard gravity, widely, without a latitude.

    With a site, u is that of gravity anomalies: a degree of latitude is at most 0.0009 m/s2
    and 100 m of elevation 0.0003 m/s2, so whole degrees and hundreds of metres will do.
    """
    if latitude_deg is None:
        lowest = normal_gravity(0, HIGHEST_BENCH_M)
        half = max(STANDARD_GRAVITY_M_S2 - lowest, normal_gravity(90) - STANDARD_GRAVITY_M_S2)
        source = f"no site given: anywhere from the equator at {HIGHEST_BENCH_M:.0f} m to a pole"
        return rectangular("gravity", STANDARD_GRAVITY_M_S2, half, source, "m/s2")
    source = (
        f"normal gravity (WGS 84) at latitude {latitude_deg:g} deg, elevation {elevation_m:g} m;"
        " u from gravity anomalies"
    )
    value = normal_gravity(latitude_deg, elevation_m)
    return Input("gravity", value, ANOMALY_U_M_S2, math.inf, source, "m/s2")
