"""Calibrate the height channel against the marks of a steel rule, up and down, twice."""

from collections.abc import Mapping, Sequence
from typing import Any

from procedures.lib import calibrating, checks
from rig.bench import Bench
from rig.calibration.height import MARKS as LEAST
from rig.errors import RigError
from rig.guide.parameters import Parameter
from rig.guide.steps import Do, Passage, Procedure, Read, Tell
from rig.units import parse_quantity

TITLE = "Calibration of the height"

PARAMETERS = (
    Parameter("operator", "text", "", "your initials; asked for when left out"),
    Parameter("marks", "text", "", 'marks of the rule, like "100 mm, 300 mm, 500 mm, 700 mm"; '
              "left out, five over the tower's travel"),
)  # fmt: skip

RUNS = 2
MARKS = 5
REACH = 0.9
"""Share of the travel that the usual marks cover."""
LONGEST_RULE_M = 3.0  # ours
SETTLE_S, READ_S = 1.0, 1.0  # ours


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse before anything is opened marks that cannot be reached."""
    _marks(params["marks"], bench.tower.travel.max_drop_m)


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """The guided calibration. Concludes with the certificate, or the reasons for none."""
    marks = _marks(params["marks"], bench.tower.travel.max_drop_m)
    yield Do(
        "The carriage is raised and lowered by hand, nothing is released. "
        "Guard open, pin in: gloves on, blade out by its spine; gloves off, a steel rule upright "
        "beside the rail, the carriage's pointer against it. Hands out, pin out.",
        hazards=("falling_mass", "pinch", "edge"),
    )
    operator = yield from calibrating.operator(params)
    readings: list[dict[str, Any]] = []
    for run in range(1, RUNS + 1):
        yield Tell(f"Run {run} of {RUNS} along the rule.")
        for mark, rising in _way(marks):
            reading = yield from _at(mark, rising, run)
            if reading is None:
                why = f"run {run}, {mark * 1e3:g} mm: no good reading came"
                return (yield from calibrating.refuse("height", [why]))
            readings.append({"mark_m": mark, "run": run, "rising": rising, **reading})
    yield Do(
        "Lower the carriage onto the anvil by its lever. Pin in, rule away.",
        hand="lower",
        hazards=("falling_mass", "pinch"),
    )
    return (
        yield from calibrating.issue(
            "height",
            {
                "bench": bench.name,
                "count_m": bench.tower.wire.count_m,
                "operator": operator,
                "readings": readings,
            },
        )
    )


def _marks(told: str, travel_m: float) -> list[float]:
    """The marks in metres, lowest first.

    Raises:
        RigError: one cannot be read, two are alike, or they reach beyond the tower's travel.
    """
    texts = [text for text in told.split(",") if text.strip()]
    own = [parse_quantity(text, "length", "marks") for text in texts]
    step = REACH * travel_m / (MARKS - 1)
    marks = sorted(own or [round(0.05 + n * step, 2) for n in range(MARKS)])
    if len(set(marks)) < len(marks):
        raise RigError("a mark is named twice", where="marks", remedy="name each once", value=told)
    if len(marks) < LEAST:
        raise RigError(
            f"{len(marks)} marks", where="marks", remedy=f"name {LEAST} or more", value=told
        )
    if marks[0] < 0 or marks[-1] > LONGEST_RULE_M:
        raise RigError(
            f"no rule has a mark from {marks[0] * 1e3:g} mm to {marks[-1] * 1e3:g} mm",
            where="marks", remedy="name marks as they stand on your rule", value=told,
        )  # fmt: skip
    if marks[-1] - marks[0] > travel_m:
        raise RigError(
            f"the marks span {(marks[-1] - marks[0]) * 1e3:.0f} mm; this tower's carriage goes "
            f"{travel_m * 1e3:.0f} mm",
            where="marks",
            remedy="name marks within the travel",
            value=told,
        )
    return marks


def _way(marks: Sequence[float]) -> list[tuple[float, bool]]:
    return [(mark, True) for mark in marks] + [(mark, False) for mark in marks[-2::-1]]


def _at(mark: float, rising: bool, run: int) -> Passage[Mapping[str, Any] | None]:
    """The height with the carriage's pointer at a mark."""
    way = "up" if rising else "down"
    step = Read(
        f"Move the carriage {way} until its pointer is on the rule's {mark * 1e3:g} mm; let it "
        "rest on the catch or the hook. Hands off.",
        channel="height", trial=f"run {run} {mark * 1e3:g} mm {way}", settle_s=SETTLE_S,
        read_s=READ_S, hand="rule", detail={"mark_m": mark},
        hazards=("falling_mass:out", "pinch"),
    )  # fmt: skip
    return (yield from checks.good_reading(step))
