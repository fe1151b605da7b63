"""Rockwell C hardness from a tester's readings on a blade and on its check block.

hardness = mean of the blade + (certificate - mean of the block) + correction for a round surface

The block before and after stands for the tester that day; the certificate is what it should read.
"""

import math
from dataclasses import dataclass
from statistics import fmean, stdev

import numpy as np

from rig.errors import RigError
from rig.measure.budget import Input, Reason, evaluate, rectangular
from rig.measure.result import Result

# The scale's range: ASTM E18 and ISO 6508-1 (from memory).
LOWEST_HRC, HIGHEST_HRC = 20.0, 70.0
COARSEST_HRC = 2.0  # a dial read to coarser steps tells no blade from another; ours
READINGS = 5  # common practice, no source
SPACING_M = 3.0e-3  # three dent diameters or more; common practice, no source
DEPTHS = 10.0  # thickness over depth of indentation: ASTM E18 and ISO 6508-1 (from memory)
BLOCK_ERROR_HRC = 1.5  # ISO 6508-2, from memory
LARGEST_CORRECTION = 3.0  # ASTM E18 asks not to use more (from memory)

# Corrections to add on convex cylinders, scale C: ASTM E18 annex as reprinted.
DIAMETERS_IN = (0.25, 0.375, 0.5, 0.625, 0.75, 0.875, 1.0, 1.25, 1.5)
INCH_M = 0.0254
CORRECTIONS: dict[float, tuple[float, ...]] = {
    20: (6, 4.5, 3.5, 2.5, 2, 1.5, 1.5, 1, 1),
    25: (5.5, 4, 3, 2.5, 2, 1.5, 1, 1, 1),
    30: (5, 3.5, 2.5, 2, 1.5, 1, 1, 1, 0.5),
    35: (4, 3, 2, 1.5, 1.5, 1, 1, 0.5, 0.5),
    40: (3.5, 2.5, 2, 1.5, 1, 1, 1, 0.5, 0.5),
    45: (3, 2, 1.5, 1, 1, 1, 0.5, 0.5, 0.5),
    50: (2.5, 2, 1.5, 1, 1, 0.5, 0.5, 0.5, 0.5),
    55: (2, 1.5, 1, 1, 0.5, 0.5, 0.5, 0.5, 0),
    60: (1.5, 1, 1, 0.5, 0.5, 0.5, 0.5, 0, 0),
    65: (1.5, 1, 1, 0.5, 0.5, 0.5, 0.5, 0, 0),
    70: (1, 1, 0.5, 0.5, 0.5, 0.5, 0.5, 0, 0),
}
TABLE_STEP = 0.5  # the table is given to half a point


@dataclass(frozen=True)
class Block:
    """The check block: certified value with its expanded uncertainty, and what the tester read."""

    certified_hrc: float
    expanded_hrc: float
    before_hrc: tuple[float, ...]
    after_hrc: tuple[float, ...]


@dataclass(frozen=True)
class Piece:
    """The blade under the cone.

    Attributes:
        readings_hrc: in the order taken, none left out.
        spacing_m: least distance between dents, and to the edge.
        thickness_m: where it was read.
        diameter_m: of a round (convex) surface; None when flat. A hollow one
            has no correction here.
        resolution_hrc: of the dial.
    """

    readings_hrc: tuple[float, ...]
    spacing_m: float
    thickness_m: float
    diameter_m: float | None = None
    resolution_hrc: float = 0.5


@dataclass(frozen=True)
class HardnessResult(Result):
    """Mean, range and what stands against them."""


def evaluate_hardness(piece: Piece, block: Block) -> HardnessResult:
    """Everything the readings tell.

    Raises:
        RigError: a reading outside the scale.
    """
    for reading in (*piece.readings_hrc, *block.before_hrc, *block.after_hrc):
        require_on_scale(reading)
    reasons = (*_block_reasons(block), *_piece_reasons(piece))
    if len(piece.readings_hrc) < 2 or len(block.before_hrc) < 2:
        return HardnessResult(reasons=reasons)
    mean = fmean(piece.readings_hrc)
    correction = 0.0 if piece.diameter_m is None else round_correction(mean, piece.diameter_m)
    if correction > LARGEST_CORRECTION:
        text = f"so round a surface would need a correction of {correction:.1f} HRC: flatten it"
        reasons += (Reason("too_round", text, correction, LARGEST_CORRECTION, "HRC"),)
    told = evaluate(
        "hardness",
        "HRC",
        lambda x: x["blade"] + x["certificate"] - x["block"] + x["round"] + x["dial"] + x["drift"],
        _inputs(piece, block, correction),
    )
    reasons += _thin(piece, told.value)
    figures = {
        "mean_hrc": mean,
        "range_hrc": max(piece.readings_hrc) - min(piece.readings_hrc),
        "block_error_hrc": fmean(block.before_hrc) - block.certified_hrc,
        "correction_hrc": correction,
        "readings": float(len(piece.readings_hrc)),
    }
    return HardnessResult({"hardness": told}, reasons, figures)


def require_on_scale(reading_hrc: float) -> None:
    """Refuse a reading that the scale does not reach.

    Raises:
        RigError: outside 20 to 70 HRC.
    """
    if not LOWEST_HRC <= reading_hrc <= HIGHEST_HRC:
        raise RigError(
            f"{reading_hrc:g} HRC is outside the scale ({LOWEST_HRC:g} to {HIGHEST_HRC:g})",
            remedy="check what was typed; a soft or thin piece needs another scale",
            value=reading_hrc,
        )


def indentation_m(hardness_hrc: float) -> float:
    """Depth behind the number: HRC = 100 - h/0.002 mm (ISO 6508-1)."""
    return (100 - hardness_hrc) * 0.002e-3


def round_correction(hardness_hrc: float, diameter_m: float) -> float:
    """To add on a convex cylinder, between the entries of the table in a straight line.

    Above the largest diameter nothing; below the smallest the value of the smallest.
    """
    diameter = diameter_m / INCH_M
    if diameter > DIAMETERS_IN[-1]:
        return 0.0
    rows = sorted(CORRECTIONS)
    by_row = [float(np.interp(diameter, DIAMETERS_IN, CORRECTIONS[row])) for row in rows]
    return float(np.interp(hardness_hrc, rows, by_row))


def _inputs(piece: Piece, block: Block, correction: float) -> list[Input]:
    read = [*block.before_hrc, *block.after_hrc]
    # The scatter of each set about its own mean: drift between them has a row of its own.
    sets = [part for part in (block.before_hrc, block.after_hrc) if len(part) > 1]
    dof = sum(len(part) - 1 for part in sets)
    spread = math.sqrt(sum((len(part) - 1) * stdev(part) ** 2 for part in sets) / dof)
    n, blade = len(piece.readings_hrc), piece.readings_hrc
    moved = abs(fmean(block.after_hrc) - fmean(block.before_hrc)) if block.after_hrc else 0.0
    return [
        Input("blade", fmean(blade), stdev(blade) / math.sqrt(n), n - 1,
              f"{n} readings on the blade", "HRC"),
        Input("block", fmean(read), spread / math.sqrt(len(read)), dof,
              f"{len(read)} readings on the block", "HRC"),
        Input("certificate", block.certified_hrc, block.expanded_hrc / 2, math.inf,
              "the block's certificate, k = 2", "HRC"),
        rectangular("dial", 0.0, piece.resolution_hrc / 2, "the tester's resolution", "HRC"),
        rectangular("drift", 0.0, moved / 2, "block before against after", "HRC"),
        rectangular("round", correction, TABLE_STEP / 2 if correction else 0.0,
                    "table of ASTM E18 for convex cylinders, to half a point", "HRC"),
    ]  # fmt: skip


def _block_reasons(block: Block) -> tuple[Reason, ...]:
    found = []
    if min(len(block.before_hrc), len(block.after_hrc)) < 2:
        text = "the block was not read at least twice before and after"
        found.append(Reason("block_not_read", text))
    for when, read in (("before", block.before_hrc), ("after", block.after_hrc)):
        if len(read) < 2:
            continue
        error, apart = fmean(read) - block.certified_hrc, max(read) - min(read)
        allowed = block_range_limit(block.certified_hrc)
        if abs(error) > BLOCK_ERROR_HRC:
            text = f"{when} the blade the tester read its block {error:+.1f} HRC off"
            found.append(Reason("block_off", text, abs(error), BLOCK_ERROR_HRC, "HRC"))
        if apart > allowed:
            text = f"{when} the blade the block's readings lay {apart:.1f} HRC apart"
            found.append(Reason("block_scatter", text, apart, allowed, "HRC"))
    return tuple(found)


def block_range_limit(certified_hrc: float) -> float:
    """Largest less smallest on a block: 0.02 (100 - H) or 0.8 (ISO 6508-2, from memory)."""
    return max(0.02 * (100 - certified_hrc), 0.8)


def _piece_reasons(piece: Piece) -> tuple[Reason, ...]:
    found = []
    step = piece.resolution_hrc
    if not 0 < step <= COARSEST_HRC:
        text = f"a dial read to steps of {step:g} HRC tells nothing"
        found.append(Reason("too_coarse", text, step, COARSEST_HRC, "HRC"))
    n = len(piece.readings_hrc)
    if n < READINGS:
        text = f"{n} readings on the blade: {READINGS} are wanted"
        found.append(Reason("few_readings", text, float(n), READINGS))
    if piece.spacing_m < SPACING_M:
        text = f"dents {piece.spacing_m * 1e3:.1f} mm apart: too near, they harden each other"
        found.append(Reason("dents_too_near", text, piece.spacing_m, SPACING_M, "m"))
    return tuple(found)


def _thin(piece: Piece, hardness_hrc: float) -> tuple[Reason, ...]:
    least = DEPTHS * indentation_m(hardness_hrc)
    if piece.thickness_m >= least:
        return ()
    text = (
        f"{piece.thickness_m * 1e3:.2f} mm is thinner than ten depths of the dent "
        f"({least * 1e3:.2f} mm): the anvil is felt and it reads low"
    )
    return (Reason("too_thin", text, piece.thickness_m, least, "m"),)
