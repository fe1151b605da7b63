"""Readings at rest that count, and the check of the load channel before trials.

The drop tower has its own check, the empty drops of each session and their chart: see
`procedures.lib.session.effective_acceleration`.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rig.bench import Bench
from rig.calibration.chart import Judged, judge
from rig.calibration.weights import Facts
from rig.errors import RigError
from rig.guide.steps import Ask, Note, Outcome, Passage, Read, Recall, Tell
from rig.measure.budget import coverage_factor
from rig.measure.reading import told
from rig.measure.scales import Scale

CHECK, OUT = "check_load", "check_out"
BENCH_SAYS = "bench file's figures, as there is no certificate"
SESSION_H = 12.0
CHART_H = 24.0 * 365 * 2
CHART_LENGTH = 100
KEPT = ("mean", "sd", "n", "reasons", "raw_id", "result_id", "boot")


def good_reading(step: Read) -> Passage[Outcome | None]:
    """A reading that nothing stands against; a bad one is taken again until the person stops.

    None when the person stopped.
    """
    while True:
        reading = yield step
        if not reading["reasons"]:
            return {key: reading[key] for key in KEPT}
        yield Tell(f"This reading does not count: {told(reading['reasons'])}.")
        if (yield from stopped("Put it right, then read")):
            return None


def stopped(what: str) -> Passage[bool]:
    """Asks whether to go on after something did not count; True when the person stops here.

    Args:
        what: what to do before it is done again, like "Put it right, then read".
    """
    answer = yield Ask(
        f"{what} again, or stop here?",
        key="again", kind="choice", choices=("again", "stop"), default="again",
    )  # fmt: skip
    return bool(answer["value"] == "stop")


def check_load(bench: Bench, scale: Scale, certified: bool) -> Passage[None]:
    """Does a known weight still read as it used to? Once in a session.

    Outside its limits nothing goes on until someone has looked and written down why.

    Args:
        bench: its `pry.check.mass_kg` is hung.
        scale: of the load channel, as this run uses it.
        certified: whether a certificate in force gives it.

    Raises:
        RigError: the person stopped because no good reading came.
    """
    chart = yield from _chart(bench)
    if chart is None:
        yield Tell("This session's check of the load cell is on record; it holds.")
        return
    codes = yield from _hung(bench)
    torque, expected = float(scale.value(codes)), _facts(bench).torque_nm(bench.pry.check.mass_kg)
    history = [float(scale.value(row["codes"])) for row in chart]
    by = "certificate" if certified else BENCH_SAYS
    judged = judge(torque, history, expected, _expanded(bench, scale, expected), "N·m", by)
    body = {
        **_of(bench), "codes": codes,
        "torque_nm": torque, "torque_U_nm": _read(scale, torque),
        "expected_nm": expected, "expected_U_nm": _hangs(bench, expected),
    }  # fmt: skip
    anew = False
    if judged.reasons:
        anew = yield from _looked_at(judged)
    else:
        yield Tell(
            f"Check: {torque:.4g} N·m, in order ({judged.limits.low:.4g} to "
            f"{judged.limits.high:.4g} N·m by the {judged.told})."
        )
    yield Note(
        "Check of the load cell",
        kind=CHECK,
        body={**body, "by": judged.by, "out": bool(judged.reasons), "anew": anew},
    )


def _chart(bench: Bench) -> Passage[Sequence[Mapping[str, Any]] | None]:
    """Checks in order since the chart last began, oldest first; None: this session has one."""
    fresh = yield Recall("Was the load cell checked in this session?", kind=CHECK,
                         hours=SESSION_H, limit=CHART_LENGTH)  # fmt: skip
    today = [row for row in fresh["found"] if _same(row, bench)]
    if today and (not today[0]["out"] or today[0]["anew"]):
        return None
    earlier = yield Recall(
        "Looking for earlier checks.", kind=CHECK, hours=CHART_H, limit=CHART_LENGTH
    )
    chart: list[Mapping[str, Any]] = []
    for row in (r for r in earlier["found"] if _same(r, bench)):
        if row["anew"]:
            chart.append(row)
            break
        if not row["out"]:
            chart.append(row)
    return chart[::-1]


def _of(bench: Bench) -> dict[str, Any]:
    return {
        "bench": bench.name,
        "cell": bench.cell.serial,
        "mass_kg": bench.pry.check.mass_kg,
    }


def _same(row: Mapping[str, Any], bench: Bench) -> bool:
    return all(row[key] == value for key, value in _of(bench).items())


def _facts(bench: Bench) -> Facts:
    return Facts(bench.cell, bench.pry.arm, bench.pry.calibration, bench.site)


def _hung(bench: Bench) -> Passage[float]:
    """Deflection of the check weight in codes."""
    mass_kg = bench.pry.check.mass_kg
    zero = yield from good_reading(
        load_read(
            "Check: lever level, its pin in, nothing hung, nobody touches the arm. Hands off.",
            "check zero", bench, "free", {},
        )
    )  # fmt: skip
    hung = zero and (
        yield from good_reading(
            load_read(f"Check: hang {mass_kg:g} kg so that it pulls right. Feet clear. Hands off.",
                      "check weight", bench, "hang", {"mass_kg": mass_kg, "side": "right"})
        )
    )  # fmt: skip
    if not zero or not hung:
        raise RigError(
            "the check of the load cell was stopped: no good reading came",
            where="load cell",
            remedy="put it right, then start anew with --abandon 'no reading'",
        )
    yield from good_reading(
        load_read(
            "Take the weight off, the pin still in. Hands off.",
            "check zero after",
            bench,
            "unhang",
            {},
        )
    )
    return float(hung["mean"] - zero["mean"])


def load_read(
    text: str, trial: str, bench: Bench, hand: str, detail: Mapping[str, float | str],
    settle_s: float = 0.0, hazards: tuple[str, ...] = (),
) -> Read:  # fmt: skip
    """A reading of the load channel at rest; it settles at least as long as the bench states."""
    limits = bench.pry.calibration
    return Read(
        text, channel="load", trial=trial, settle_s=max(limits.settle_s, settle_s),
        read_s=limits.read_s, hand=hand, detail=detail,
        hazards=hazards or (("weights",) if hand in ("hang", "unhang") else ()),
    )  # fmt: skip


def _expanded(bench: Bench, scale: Scale, torque_nm: float) -> float:
    """U of reading minus weight: the certificate's, and the check weight's own."""
    relative = math.hypot(scale.u_relative, bench.pry.calibration.u_mass_relative)
    u = math.hypot(relative * torque_nm, scale.u_absolute)
    return coverage_factor(scale.dof) * u


def _read(scale: Scale, torque_nm: float) -> float:
    """U of a torque as the scale reads it."""
    u = math.hypot(scale.u_relative * torque_nm, scale.u_absolute)
    return coverage_factor(scale.dof) * u


def _hangs(bench: Bench, torque_nm: float) -> float:
    """U of the torque that the weight gives by its mass, its lever and gravity."""
    relative = math.hypot(*(one.u / one.value for one in _facts(bench).common()))
    return coverage_factor(math.inf) * relative * torque_nm


def _looked_at(judged: Judged) -> Passage[bool]:
    """Why it is out, in the person's words, and whether the chart begins anew."""
    (reason,) = judged.reasons
    yield Tell(f"STOP: {reason.text}.")
    why = yield Ask("What did you find? Nothing goes on before it is written down", key="check_out")
    again = yield Ask(
        "Is the cell or lever another one now (repaired, exchanged, calibrated anew), so that the "
        "chart begins anew?",
        key="chart_anew", kind="choice", choices=("no", "yes"), default="no",
    )  # fmt: skip
    yield Note(
        "Why the check was out",
        kind=OUT,
        body={"reason": why["value"], "text": reason.text, "figure": reason.figure},
    )
    return bool(again["value"] == "yes")
