"""Known marks of a steel rule -> metres for one encoder count.

Marks are fitted on counts, a straight line with a constant (where the rule begins does not
matter): the slope is the scale. Heights are only ever used as differences, so the certificate's
line goes through zero. The rule's own error is one for all marks, at most (0.3 + 0.2 L) mm, L in
metres: class II of OIML R 35 and the EU's directive on measuring instruments (from memory).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from rig.calibration.curve import fit
from rig.calibration.mixups import USUAL, hint, plausible
from rig.calibration.results import refused
from rig.measure.budget import Input, Reason, evaluate, rectangular, to_dict
from rig.measure.scales import Scale

UNIT = "m"
RUNS, MARKS = 2, 4
RETURN_COUNTS = 4.0
"""How far the first mark may read from its first reading at the end."""
MONTHS = 12


def calibrate(settings: Mapping[str, Any]) -> dict[str, Any]:
    """The result of a height calibration as plain data; `certificate` is None when refused.

    Args:
        settings: `bench` (its name), `count_m` (the bench's own), `operator`, `readings`: in the
            order taken, each with `mark_m`, `run`, `rising`, `mean`, `reasons`.
    """
    taken = settings["readings"]
    found = [*_count_reasons(taken)] or [*_reading_reasons(taken)]
    if found:
        return refused(found)
    marks = np.array([t["mark_m"] for t in taken], dtype=float)
    counts = np.array([t["mean"] for t in taken], dtype=float)
    line = fit(counts, marks, (0, 1))
    found = [*_scale_reasons(line.coefficients[1], settings["count_m"])] or [
        *_return_reasons(taken)
    ]
    if found:
        return refused(found)
    reach = float(np.ptp(marks))
    scale_m, u_line = line.coefficients[1], line.u[1]
    told = evaluate(
        "count_length", "m/count", lambda x: x["line"] * x["rule"] * x["counts"],
        [
            Input("line", scale_m, u_line, float(line.dof), f"{len(taken)} readings of marks",
                  "m/count"),
            rectangular("rule", 1.0, rule_limit_m(reach) / reach, "the rule, class II", "1"),
            rectangular("counts", 1.0, abs(scale_m) / reach, "whole counts at both ends", "1"),
        ],
    )  # fmt: skip
    through = (0.0, scale_m)
    scale = Scale(
        through, through, told.u / scale_m, line.s, told.dof, 0.0, reach, UNIT, "height certificate"
    )
    within = told.U / scale_m
    return {
        "measurands": {"count_length": to_dict(told)},
        "reasons": [],
        "figures": {
            "chosen": "straight line",
            "s_m": line.s,
            "coefficients": list(line.coefficients),
            "u": list(line.u),
            "sides": {
                "both": {
                    "value": marks.tolist(),
                    "residual": (marks - line.value(counts)).tolist(),
                    "rising": [float(t["rising"]) for t in taken],
                }
            },
        },
        "certificate": {
            "channel": "height",
            "bench": settings["bench"],
            "serial": "",
            "operator": settings["operator"],
            "months": MONTHS,
            "curve": scale.to_dict(),
            "within": within,
            "held": {},
            "sentence": sentence(scale_m, reach, within),
        },
    }


def rule_limit_m(length_m: float) -> float:
    """Largest error that a class II steel rule may have over a length."""
    return 0.3e-3 + 0.2e-3 * length_m


def sentence(count_m: float, reach_m: float, within: float) -> str:
    """What the certificate comes to."""
    percent = math.ceil(within * 10_000) / 100
    return (
        f"One count is {count_m * 1e3:.5f} mm, within {percent:g} %; good for heights up to "
        f"{reach_m * 1e3:.0f} mm."
    )


def _count_reasons(taken: Sequence[Mapping[str, Any]]) -> Iterator[Reason]:
    marks = len({t["mark_m"] for t in taken})
    if marks < MARKS:
        text = f"{marks} different marks; {MARKS} are needed"
        yield Reason("too_few_marks", text, float(marks), float(MARKS))
    runs = len({t["run"] for t in taken})
    if runs < RUNS:
        text = f"{runs} run along the rule; {RUNS} are needed to see how well it repeats"
        yield Reason("too_few_runs", text, float(runs), float(RUNS))


def _reading_reasons(taken: Sequence[Mapping[str, Any]]) -> Iterator[Reason]:
    for t in taken:
        if t["mean"] is None or t["reasons"]:
            told = "; ".join(reason["text"] for reason in t["reasons"]) or "no samples"
            yield Reason("reading", f"mark {t['mark_m'] * 1e3:g} mm, run {t['run']}: {told}")
    if len({t["mean"] for t in taken}) == 1:
        text = "the count does not change from mark to mark: check the encoder's plug and its wire"
        yield Reason("not_rising", text)
    if len({t.get("boot") for t in taken}) > 1:
        yield Reason(
            "restarted", "the board was restarted between the marks: its counts began anew"
        )


def _scale_reasons(found_m: float, stated_m: float) -> Iterator[Reason]:
    ratio = found_m / stated_m
    if ratio < 0:
        text = "the height falls while the carriage rises: swap the encoder's wires A and B"
        yield Reason("reversed", text)
    elif not plausible(ratio):
        text = (
            f"one count comes out {ratio:.3g} times as long as the bench's count_m: "
            f"{hint(ratio, 'length')}"
        )
        yield Reason("unit", text, ratio, USUAL)


def _return_reasons(taken: Sequence[Mapping[str, Any]]) -> Iterator[Reason]:
    """Does the first mark still read the same at the end? Does the count rise with the marks?"""
    lowest = min(t["mark_m"] for t in taken)
    own = [t["mean"] for t in taken if t["mark_m"] == lowest]
    moved = max(own) - min(own)
    if moved > RETURN_COUNTS:
        text = (
            f"the lowest mark read {moved:.1f} counts apart (limit {RETURN_COUNTS:g}): the wire "
            "slips, or the carriage was not set to the same line"
        )
        yield Reason("zero_return", text, moved, RETURN_COUNTS, "count")
    for run in sorted({t["run"] for t in taken}):
        up = sorted((t["mark_m"], t["mean"]) for t in taken if t["run"] == run and t["rising"])
        if any(b[1] <= a[1] for a, b in pairwise(up)):
            yield Reason("not_rising", f"run {run}: a higher mark does not read higher: mixed up?")
