"""Measurands of a pry trial, each with its budget.

Rows common to all: scale and point of the torque certificate, pull off the square, zero drift, the
arm alone (no-load sweep), scatter of the record; for angles scale and point of their certificate;
at a break the instant within one sample ("sampling") and the delay of the converter's filter.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from rig.measure.arm.facts import ArmRecord, Asked, PryFacts, Section
from rig.measure.arm.motion import Array
from rig.measure.arm.scatter import LEFT_SHARE, slope
from rig.measure.budget import Input, Measurand, evaluate, rectangular
from rig.measure.pry.loading import Loading
from rig.measure.pry.rows import Rows
from rig.measure.pry.trial import SOFTENING, Pried
from rig.measure.section import bending_index, bending_moment

X = Mapping[str, Any]


def measurands(
    found: Pried, record: ArmRecord, facts: PryFacts, asked: Asked
) -> dict[str, Measurand]:
    """All that the trial's kind has, by name."""
    rows = Rows(found, record, facts, asked.direction)
    made = {"peak_torque": _peak(found, rows)}
    if found.kind == "snap" and facts.rule >= SOFTENING:
        made["break_torque"] = evaluate("break_torque", "N.m", _end_torque, _at(found.loaded, rows))
    if found.line is not None:
        made["stiffness"] = _stiffness(found, rows)
    if found.onset is not None and found.line is not None:
        made["onset_torque"] = _onset(found, rows)
    gave = found.kind in ("snap", "bend") and found.passed and found.before is None
    if gave and found.loaded.span_rad > 0:
        made["failure_angle"] = _failure_angle(found, rows)
        made["energy_to_failure"] = _energy(found, rows)
    if found.set_rad is not None:
        made["set_angle"] = _set(found, rows)
    if asked.at_rad is not None and asked.at_rad <= found.loaded.span_rad:
        made["torque_at_angle"] = _at_angle(found, rows, asked.at_rad)
    if asked.section is not None:
        made |= _section(found, rows, asked.section, facts)
    return made


def _at(loaded: Loading, rows: Rows) -> list[Input]:
    """Where a loading ended: a break, or the largest torque."""
    end, broke = loaded.end, loaded.broke
    told = "largest torque, mean over a period of tremor"
    if broke is not None:
        told = f"curve carried on to the break, told by {broke.by}"
    record = Input("record", end.torque_nm, end.u_nm, end.dof, told, "N.m")
    return [record, *rows.torque(), *rows.sampling(loaded)]


def _end_torque(x: X) -> Any:
    return (
        x["torque_scale"] * x["align"] * (x["record"] + x["sampling"] + x["filter"])
        + x["torque_point"] + x["zero"] + x["no_load"]
    )  # fmt: skip


def _peak(found: Pried, rows: Rows) -> Measurand:
    return evaluate("peak_torque", "N.m", _end_torque, _at(found.most or found.loaded, rows))


def _stiffness(found: Pried, rows: Rows) -> Measurand:
    line = found.line
    assert line is not None
    inputs = [
        Input("fit", line.slope, line.u_slope, max(1.0, line.count / 4 - 2),
              f"straight line through {line.count} samples, {line.low_nm:.3g} to "
              f"{line.high_nm:.3g} N.m", "N.m/rad"),
        rectangular("straightness", 0.0, abs(line.bend) / 3,
                    "slopes of its lower and upper half", "N.m/rad"),
        *rows.torque_slope(line),
        rows.angle_gain(line.span_rad),
    ]  # fmt: skip
    return evaluate(
        "stiffness", "N.m/rad",
        lambda x: x["torque_scale"] * x["align"] / x["angle_gain"]
        * (x["fit"] + x["straightness"] + x["no_load_slope"] + x["torque_bow"]),
        inputs,
    )  # fmt: skip


def _onset(found: Pried, rows: Rows) -> Measurand:
    line, onset = found.line, found.onset
    assert line is not None and onset is not None
    # The curve falls behind the shifted line by (slope of line - slope of curve) per radian.
    lever = onset.slope / (line.slope - onset.slope)
    reach = onset.angle_rad - line.middle_rad
    offset = rows.facts.limits.onset_offset_rad
    line_u = math.hypot(line.u_slope * reach, line.bend / 4 / math.sqrt(3) * reach)
    inputs = [
        Input(
            "record",
            onset.torque_nm,
            line.scatter * LEFT_SHARE,
            max(1.0, line.count / 4),
            "scatter of the samples",
            "N.m",
        ),
        Input(
            "line",
            0.0,
            line_u,
            max(1.0, line.count / 4 - 2),
            "straight part carried on to the onset",
            "N.m",
        ),
        *rows.torque(),
        rows.bow("angle_bow", reach),
        rows.angle_between("offset_angle", offset, "the offset itself"),
    ]

    def torque(x: X) -> Any:
        moved = x["line"] + line.slope * (x["angle_bow"] + offset - x["offset_angle"])
        torque = x["torque_scale"] * x["align"] * (x["record"] + lever * moved)
        return torque + x["torque_point"] + x["zero"] + x["no_load"]

    return evaluate("onset_torque", "N.m", torque, inputs)


def _failure_angle(found: Pried, rows: Rows) -> Measurand:
    span = found.loaded.span_rad
    inputs = [
        rows.angle_between("record", span, "from the pre-load point to the end"),
        rows.preload_point(),
        rows.instant(),
        rows.carried(),
        *([rows.start_delay()] if rows.facts.rule >= SOFTENING else []),
    ]

    def angle(x: X) -> Any:
        delay = x.get("filter", 0.0)
        return x["record"] - x["preload_point"] + x["instant"] + x["carried"] + delay

    return evaluate("failure_angle", "rad", angle, inputs)


def _energy(found: Pried, rows: Rows) -> Measurand:
    loaded = found.loaded
    angle = np.concatenate(([loaded.start_rad], loaded.angle_rad, [loaded.end.angle_rad]))
    preload = rows.facts.limits.preload_nm
    net = np.concatenate(([preload], loaded.net_nm, [loaded.peak_nm]))
    area, span = float(np.trapezoid(net, angle)), loaded.span_rad
    inputs = [
        Input("record", area, loaded.end.u_nm * span / 2, loaded.end.dof,
              "trapezoids under torque over angle", "J"),
        *rows.torque(),
        rows.angle_area(angle, net),
        rows.filter_area(angle, net),
        rows.instant(),
        rows.carried(),
        rows.preload_point(),
    ]  # fmt: skip
    end = loaded.peak_nm
    return evaluate(
        "energy_to_failure", "J",
        lambda x: x["torque_scale"] * x["align"] * x["record"] + x["angle"] + x["filter"]
        + span * (x["torque_point"] + x["zero"] + x["no_load"])
        + end * (x["instant"] + x["carried"]) - preload * x["preload_point"],
        inputs,
    )  # fmt: skip


def _set(found: Pried, rows: Rows) -> Measurand:
    assert found.set_rad is not None
    inputs = [
        rows.angle_between("record", found.set_rad, "angle at pre-load, after less before"),
        rows.preload_point(),
        rows.preload_point("preload_point_after"),
    ]
    return evaluate(
        "set_angle", "rad",
        lambda x: x["record"] - x["preload_point"] + x["preload_point_after"], inputs,
    )  # fmt: skip


def _at_angle(found: Pried, rows: Rows, at_rad: float) -> Measurand:
    loaded = found.loaded
    angle, net = _ascending(
        np.append(loaded.angle_rad, loaded.end.angle_rad), np.append(loaded.net_nm, loaded.peak_nm)
    )
    where = loaded.start_rad + at_rad
    value = float(np.interp(where, angle, net))
    near = np.abs(angle - where) <= max(np.radians(0.5), 0.02 * loaded.span_rad)
    rise = slope(angle[near], net[near])
    scatter = found.line.scatter if found.line is not None else loaded.end.u_nm
    inputs = [
        Input("record", value, scatter, loaded.end.dof, "curve at the stated angle", "N.m"),
        *rows.torque(),
        rows.angle_between("angle", at_rad, "the stated angle from the pre-load point"),
        rows.preload_point(),
    ]
    return evaluate(
        "torque_at_angle", "N.m",
        lambda x: x["torque_scale"] * x["align"] * x["record"]
        + rise * (at_rad - x["angle"] + x["preload_point"])
        + x["torque_point"] + x["zero"] + x["no_load"],
        inputs,
    )  # fmt: skip


def _ascending(angle: Array, net: Array) -> tuple[Array, Array]:
    order = np.argsort(angle, kind="stable")
    return angle[order], net[order]


def _section(found: Pried, rows: Rows, section: Section, facts: PryFacts) -> dict[str, Measurand]:
    peak = _at(found.most or found.loaded, rows)
    length = facts.free_m
    at = _named(section.from_axis_m, "from_axis")
    sizes = [_named(section.thickness_m, "thickness"), _named(section.width_m, "width")]

    def moment(x: X) -> Any:
        return bending_moment(_end_torque(x), x["from_axis"], x["free"])

    lever = [_named(length, "free"), at]
    return {
        "bending_moment": evaluate("bending_moment", "N.m", moment, [*peak, *lever]),
        "index": evaluate(
            "index",
            "Pa",
            lambda x: bending_index(moment(x), x["width"], x["thickness"]),
            [*peak, *lever, *sizes],
        ),
    }


def _named(given: Input, name: str) -> Input:
    return Input(name, given.value, given.u, given.dof, given.source, given.unit, given.shape)
