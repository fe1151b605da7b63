"""Dead weights on the lever -> the load channel's certificate in newton metres.

Three runs to either side, each rising to the largest weight and falling again, with the zero read
before and after (torques and deflections: `rig.calibration.weights`). No torque is no deflection,
so the curves have no constant.

Torque is fitted on deflection for either side, a straight line or a quadratic by the rule of
`rig.calibration.curve`. The lower end of the range comes from the lower limit factor 2.4 s of
ASTM E74, s over all deflections about their curves (rising and falling, because a trial may read
either): at `low` that factor is 1 % of the torque. Never below the smallest weight.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rig.calibration import refusals
from rig.calibration.components import Part, Readings, pooled, taken_apart, together
from rig.calibration.curve import Choice, Curve, choose
from rig.calibration.limits import CLASSES, Range, lower_limit_factor, range_of
from rig.calibration.results import finite, refused
from rig.calibration.weights import SIGNS, Facts, Settings, readings
from rig.measure.budget import Input, Measurand, Reason, evaluate, rectangular, to_dict
from rig.measure.scales import Scale

UNIT = "N.m"
MATTERS = 1e-4
"""A bend counts when it moves a torque by more than this share of the largest one."""
CREEP_LEAST = 1e-4
"""Relative: a short creep test on a noisy bench shows no less."""


def early_reasons(run: Settings, facts: Facts) -> list[Reason]:
    """What the first run alone tells, before anybody hangs the rest."""
    found = [*refusals.reading_reasons([run])] or [*refusals.order_reasons([run])]
    if found:
        return found
    side = run["side"]
    alone = {side: readings([run], side, facts)}
    return [*refusals.sense_reasons(alone, facts.codes_per_nm()), *refusals.zero_reasons(alone)]


def against(runs: Sequence[Settings], facts: Facts) -> list[Reason]:
    """Everything that forbids a certificate from these readings."""
    found = [*refusals.count_reasons(runs), *refusals.reading_reasons(runs)]
    if found:
        return found
    found = [*refusals.order_reasons(runs)]
    if found:
        return found
    both = {side: readings(runs, side, facts) for side in SIGNS}
    return [*refusals.sense_reasons(both, facts.codes_per_nm()), *refusals.zero_reasons(both)]


@dataclass(frozen=True)
class Fitted:
    """Both sides fitted, and what a torque read by them is uncertain by."""

    both: Mapping[str, Readings]
    choices: Mapping[str, Choice]
    parts: tuple[Part, ...]
    common: tuple[Input, ...]

    @property
    def s(self) -> float:
        """Standard deviation of a deflection about its curve, in N.m."""
        curves = [choice.curve for choice in self.choices.values()]
        return math.sqrt(sum(c.residual_sum for c in curves) / sum(c.dof for c in curves))

    @property
    def u_relative(self) -> float:
        """Of what all torques share."""
        return math.sqrt(sum(item.u**2 for item in self.common))

    def torque(self, at_nm: float, name: str) -> Measurand:
        """A torque of this size as a trial would read it, with its budget."""
        shared = [item.name for item in self.common]
        own = [part.name for part in self.parts]

        def model(x: Mapping[str, Any]) -> Any:
            return at_nm * math.prod(x[n] for n in shared) + sum(x[n] for n in own)

        return evaluate(name, UNIT, model, [*self.common, *(p.as_input(UNIT) for p in self.parts)])


def fitted(settings: Settings) -> Fitted:
    """Curves and their parts from readings that nothing stands against."""
    facts, runs = Facts.of(settings), settings["runs"]
    both = {side: readings(runs, side, facts) for side in SIGNS}
    choices = {side: _curve(of) for side, of in both.items()}
    parts = pooled([taken_apart(both[side], choices[side].curve) for side in both])
    return Fitted(both, choices, parts, (*facts.common(), _creep(settings["creep"])))


def _curve(of: Readings) -> Choice:
    return choose(of.x, of.y, (1,), (1, 2), MATTERS * float(abs(of.y).max()))


def _creep(test: Settings) -> Input:
    """The largest weight read at once and again after a while: all of the change may be there."""
    change = abs(test["late"] - test["early"]) / abs(test["early"] - test["zero"])
    text = f"the largest weight read again after {test['after_s']:g} s"
    return rectangular("creep", 1.0, max(change, CREEP_LEAST), text, "1")


def calibrate(settings: Settings) -> dict[str, Any]:
    """The result of a load calibration as plain data; `certificate` is None when refused.

    Args:
        settings: `bench` (its name), `cell`, `arm`, `calibration`, `site` as the bench states
            them, `operator`, `runs` (see `readings`), `creep` (`early`, `late`, `zero`, `after_s`).
    """
    facts = Facts.of(settings)
    found = against(settings["runs"], facts)
    if found:
        return refused(found)
    fit = fitted(settings)
    masses = sorted({p["mass_kg"] for run in settings["runs"] for p in run["points"]})
    resolution = fit.both["right"].noise / facts.codes_per_nm()
    factor = lower_limit_factor(fit.s, resolution)
    span = range_of(factor, facts.torque_nm(masses[0]), facts.torque_nm(masses[-1]))
    if span.low >= span.high:
        text = (
            f"the readings scatter too much: a torque is good to 1 % only from {span.low:.3g} N·m "
            f"on, and the largest weight gives {span.high:.3g} N·m"
        )
        return refused([Reason("no_range", text, span.low, span.high, UNIT)])
    middle = fit.torque((span.low + span.high) / 2, "torque_middle")
    told = [fit.torque(span.low, "torque_low"), middle, fit.torque(span.high, "torque_high")]
    return {
        "measurands": {m.name: to_dict(m) for m in told},
        "reasons": [],
        "figures": _figures(fit, factor, masses),
        "certificate": _draft(settings, facts, fit, span, told),
    }


def _figures(fit: Fitted, factor: float, masses: Sequence[float]) -> dict[str, Any]:
    return {
        "s_nm": fit.s,
        "lower_limit_factor_nm": factor,
        "classes_nm": {name: multiple * factor for name, multiple in CLASSES.items()},
        "masses_kg": list(masses),
        "sides": {
            side: {
                "chosen": fit.choices[side].why,
                "coefficients": list(fit.choices[side].curve.coefficients),
                "u": list(fit.choices[side].curve.u),
                "value": of.y.tolist(),
                "residual": (of.y - fit.choices[side].curve.value(of.x)).tolist(),
                "rising": of.rising.tolist(),
                "zero_return": of.zero_return.tolist(),
            }
            for side, of in fit.both.items()
        },
        "parts": [vars(part) | {"dof": finite(part.dof)} for part in fit.parts],
        "common": [{"name": x.name, "u": x.u, "source": x.source} for x in fit.common],
    }


def _draft(
    settings: Settings, facts: Facts, fit: Fitted, span: Range, told: Sequence[Measurand]
) -> dict[str, Any]:
    """What the certificate says; its dates come with the journal row."""
    low, middle, high = told
    within = low.U / span.low
    curves: dict[str, Curve] = {side: choice.curve for side, choice in fit.choices.items()}
    scale = Scale(
        curves["right"].polynomial, curves["left"].polynomial, fit.u_relative,
        together(fit.parts), middle.dof, span.low, span.high, UNIT, "load certificate",
    )  # fmt: skip
    return {
        "channel": "load",
        "bench": settings["bench"],
        "serial": facts.cell.serial,
        "operator": settings["operator"],
        "months": facts.calibration.months_valid,
        "curve": scale.to_dict(),
        "within": within,
        "held": {"arm_m": facts.arm.length_m},
        "sentence": sentence(span.low, span.high, within, high.U / span.high),
    }


def sentence(low: float, high: float, within_low: float, within_high: float) -> str:
    """What the certificate comes to; every figure rounded to the safe side."""
    at_low, at_high = (math.ceil(share * 1000) / 10 for share in (within_low, within_high))
    return (
        f"Good from {math.ceil(low * 100) / 100:g} to {math.floor(high * 100) / 100:g} N·m, to the "
        f"right and to the left, within {at_low:g} % ({at_high:g} % at the upper end)."
    )
