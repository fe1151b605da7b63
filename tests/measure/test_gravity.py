"""Gravity agrees with the published reference systems."""

import pytest

from rig.errors import RigError
from rig.measure.gravity import GRS80, STANDARD_GRAVITY_M_S2, WGS84, local_gravity, normal_gravity
from tests.published import load


def test_grs80_gives_its_published_gravity() -> None:
    # Moritz 2000, Geodetic Reference System 1980 (from memory, recomputed)
    case = load("gravity_grs80")
    found = [normal_gravity(lat, ellipsoid=GRS80) for lat in case["inputs"]["latitude_deg"]]
    assert found == pytest.approx(case["expected"]["gamma"], abs=2e-9)


def test_wgs84_gives_its_gravity_at_the_surface_and_above() -> None:
    # NIMA TR8350.2; heights from the closed formula
    case = load("gravity_wgs84")
    found = [normal_gravity(lat, ellipsoid=WGS84) for lat in case["inputs"]["latitude_deg"]]
    assert found == pytest.approx(case["expected"]["surface"], abs=2e-9)
    above = [normal_gravity(45, h) for h in case["inputs"]["height_m"]]
    assert above == pytest.approx(case["expected"]["at45_height"], abs=1e-7)


def test_both_hemispheres_weigh_alike() -> None:
    assert normal_gravity(-37.5, 120) == normal_gravity(37.5, 120)


def test_without_a_site_standard_gravity_is_wide_enough_for_any_bench() -> None:
    anywhere = local_gravity()
    half = anywhere.u * 3**0.5
    assert anywhere.value == STANDARD_GRAVITY_M_S2
    assert anywhere.value - half <= normal_gravity(0, 3000)
    assert anywhere.value + half >= normal_gravity(90)
    assert "no site given" in anywhere.source


def test_a_site_narrows_gravity_by_forty_times() -> None:
    assert local_gravity(47, 400).u < local_gravity().u / 40


def test_a_latitude_beyond_the_pole_is_refused() -> None:
    with pytest.raises(RigError, match="latitude 91"):
        local_gravity(91)
