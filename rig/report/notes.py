"""What a procedure asked and noted, in plain words with units: never as data is written."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rig.guide.verdict import KIND, read
from rig.report.ink import quantity
from rig.units import UNITS, from_si, unit_of

LEFT_OUT = {"tower_acceleration": {"tower"}, KIND: {"state", "censored"}}
"""Keys of a kind of note that repeat what stands elsewhere."""
NAMES = {"a_eff": "effective acceleration"}
UNIT_OF_KEY = {
    "m_s2": "m/s²", "hrc": "HRC", "nm": "N·m", "rad": "rad", "deg": "°", "kg": "kg", "j": "J",
    "n": "N", "m": "m", "s": "s",
}  # fmt: skip
MEASURAND = {"value", "U", "unit"}


def entries(body: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What a step asked or noted, as (what, value); `body` is the step's row of the journal."""
    step, outcome = body["step"], body["outcome"]
    if step["step"] == "Ask":
        return [(step["text"], answer(outcome["value"], step["kind"]))]
    if step["step"] == "Note":
        kind = step["kind"]
        noted = _judged(step["body"]) if kind == KIND else step["body"]
        return [
            (f"{kind.replace('_', ' ')}: {name}", text)
            for key, value in _with_u(noted).items()
            if key not in LEFT_OUT.get(kind, ())
            for name, text in _flat(key, value)
        ]
    return []


def _judged(body: Mapping[str, Any]) -> dict[str, Any]:
    """What a verdict tells, without what its kind of trial has none of."""
    verdict = read(body)
    found = verdict.summary().items()
    return {key: value for key, value in found if value is not None or key in verdict.details}


def _with_u(body: Mapping[str, Any]) -> dict[str, Any]:
    """A note's values joined with their expanded uncertainties: `peak_nm` with `peak_U_nm`."""
    told = dict(body)
    for suffix, unit in UNIT_OF_KEY.items():
        for key in [key for key in told if key.endswith(f"_U_{suffix}")]:
            of, expanded = key.replace("_U_", "_"), told.pop(key)
            if told.get(of) is not None and expanded is not None:
                told[of] = {"value": told[of], "U": expanded, "unit": unit}
    return told


def answer(value: Any, kind: str) -> str:
    """An answer in the unit of its dimension; lengths below a metre in mm."""
    if kind not in UNITS or not isinstance(value, int | float):
        return str(value)
    unit = "mm" if kind == "length" and abs(value) < 1 else unit_of(kind)
    shown = {"degC": "°C", "N*m": "N·m", "m/s2": "m/s²"}.get(unit, unit)
    return f"{from_si(value, unit, kind):.6g} {shown}"


def _flat(key: str, value: Any) -> Iterator[tuple[str, str]]:
    """One line, or one for each part of a table within."""
    name, unit = _named(key)
    if isinstance(value, Mapping) and not value.keys() >= MEASURAND:
        for inner, part in value.items():
            for below, text in _flat(inner, part):
                yield f"{name}, {below}", text
        return
    yield name, _plain(value, unit)


def _named(key: str) -> tuple[str, str]:
    """A key without its unit, and the unit: `depth_m` is `depth` in m."""
    if key in NAMES:
        return NAMES[key], ""
    for suffix, unit in UNIT_OF_KEY.items():
        if key.endswith(f"_{suffix}"):
            return key.removesuffix(f"_{suffix}").replace("_", " "), unit
    return key.replace("_", " "), ""


def _plain(value: Any, unit: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return "none"
    if isinstance(value, Mapping):
        if value.keys() >= MEASURAND:
            return quantity(value)
        return ", ".join(f"{name} {text}" for key in value for name, text in _flat(key, value[key]))
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "; ".join(_plain(one, unit) for one in value) or "none"
    if isinstance(value, int | float):
        return _number(value, unit)
    return str(value) or "none"


def _number(value: float, unit: str) -> str:
    if unit == "m" and abs(value) < 1:
        value, unit = value * 1e3, "mm"
    return f"{value:.6g} {unit}".strip()
