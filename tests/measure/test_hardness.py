"""Rockwell readings: budget, corrections, limits."""

import math

import pytest

from rig.errors import RigError
from rig.measure.hardness import (
    CORRECTIONS,
    DIAMETERS_IN,
    INCH_M,
    Block,
    Piece,
    block_range_limit,
    evaluate_hardness,
    indentation_m,
    round_correction,
)
from tests.published import load

ROUND = load("hrc_cylinder_correction")
LIMITS = load("hrc_verification_limits")
BLOCK = Block(60.0, 0.5, (60.2, 60.5, 60.0, 60.7, 60.6), (60.1, 60.6, 60.3, 60.5, 60.5))


def blade(*readings: float, **changed: float | None) -> Piece:
    usual = {"spacing_m": 3e-3, "thickness_m": 3e-3, "diameter_m": None, "resolution_hrc": 0.5}
    return Piece(readings, **{**usual, **changed})  # type: ignore[arg-type]


def names(piece: Piece, block: Block = BLOCK) -> list[str]:
    return [reason.name for reason in evaluate_hardness(piece, block).reasons]


def test_corrections_are_those_of_e18() -> None:
    # ASTM E18, annex on convex cylinders, as reprinted (tests/published/hrc_cylinder_correction)
    table = ROUND["expected"]["correction"]
    assert tuple(ROUND["inputs"]["diameter_in"]) == DIAMETERS_IN
    for row, told in CORRECTIONS.items():
        assert list(told) == table[f"{row:g}"]
    for row in CORRECTIONS:
        for diameter, correction in zip(DIAMETERS_IN, CORRECTIONS[row], strict=True):
            assert round_correction(row, diameter * INCH_M) == pytest.approx(correction)
    assert round_correction(60, 0.2) == 0


def test_block_limits_are_those_of_iso_6508() -> None:
    # ISO 6508-2 table 5, from memory (tests/published/hrc_verification_limits)
    assert LIMITS["expected"]["iso_max_error_HRC"] == 1.5
    assert block_range_limit(25.0) == pytest.approx(0.02 * 75)
    assert block_range_limit(65.0) == pytest.approx(0.8)


def test_depth_is_that_of_the_scales_definition() -> None:
    # ISO 6508-1: HRC = 100 - h / 0.002 mm
    assert indentation_m(60.0) == pytest.approx(0.08e-3)
    assert 10 * indentation_m(60.0) == pytest.approx(0.8e-3)


def test_the_blocks_error_is_taken_off_and_its_uncertainty_stays() -> None:
    told = evaluate_hardness(blade(61.0, 61.5, 60.5, 61.8, 61.2), BLOCK)
    assert told.reasons == ()
    found = told.measurands["hardness"]
    assert found.value == pytest.approx(61.2 + 60.0 - 60.4)
    shares = {row.name: row.contribution for row in found.rows}
    assert shares["certificate"] == pytest.approx(0.25)
    assert shares["dial"] == pytest.approx(0.25 / math.sqrt(3))
    assert 0.6 < found.U < 1.2


def test_means_of_60_and_61_on_different_days_cannot_be_told_apart() -> None:
    one = evaluate_hardness(blade(60.0, 60.6, 59.4, 60.4, 59.6), BLOCK).measurands["hardness"]
    two = evaluate_hardness(blade(61.0, 61.6, 60.4, 61.4, 60.6), BLOCK).measurands["hardness"]
    assert two.value - one.value == pytest.approx(1.0)
    assert abs(two.value - one.value) < math.hypot(one.U, two.U)


@pytest.mark.parametrize(
    ("piece", "block", "name"),
    [
        (blade(60.0, 60.5, 60.2), BLOCK, "few_readings"),
        (blade(60, 60, 60, 60, 61, spacing_m=1e-3), BLOCK, "dents_too_near"),
        (blade(60, 60, 60, 60, 61, thickness_m=0.7e-3), BLOCK, "too_thin"),
        (blade(22, 22, 22, 22, 23, diameter_m=7e-3), BLOCK, "too_round"),
        (blade(60, 60, 60, 60, 61), Block(58.0, 0.5, BLOCK.before_hrc, BLOCK.after_hrc),
         "block_off"),
        (blade(60, 60, 60, 60, 61), Block(60.0, 0.5, (60.0, 61.0), (60.0, 60.1)), "block_scatter"),
        (blade(60, 60, 60, 60, 61), Block(60.0, 0.5, BLOCK.before_hrc, ()), "block_not_read"),
    ],
)  # fmt: skip
def test_what_stands_against_readings_is_named(piece: Piece, block: Block, name: str) -> None:
    assert name in names(piece, block)


@pytest.mark.parametrize("reading", [19.9, 70.1, 0.0, 605.0])
def test_a_reading_outside_the_scale_is_refused(reading: float) -> None:
    with pytest.raises(RigError, match="outside the scale"):
        evaluate_hardness(blade(60, 60, 60, 60, reading), BLOCK)


def test_a_block_that_moved_widens_the_result() -> None:
    steady = Block(60.0, 0.5, (60.0, 60.2), (60.0, 60.2))
    moved = Block(60.0, 0.5, (60.0, 60.2), (61.0, 61.2))
    piece = blade(60.0, 60.4, 60.1, 60.3, 60.2)
    u = [evaluate_hardness(piece, block).measurands["hardness"].u for block in (steady, moved)]
    assert u[1] > u[0]
