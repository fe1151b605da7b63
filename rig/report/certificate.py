"""The certificate of a calibration as one page to print: what holds, until when, and why."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rig import __version__
from rig.calibration.certificate import Certificate
from rig.errors import RigError
from rig.logbook.certificates import in_book
from rig.logbook.records import Run
from rig.logbook.store import Logbook
from rig.report import residuals
from rig.report.rowwords import row_name
from rig.report.sections import quantity
from rig.report.writing import templates, whole

TITLES = {
    "calibrate_load": "Calibration of the load channel",
    "calibrate_angle": "Calibration of the arm's angle",
    "calibrate_height": "Calibration of the height",
}
"""Procedures whose runs end with a certificate, and what its page is called."""
MAIN = {"load": "torque_middle", "angle": "angle", "height": "count_length"}
UNFINISHED = "this calibration is not finished."
DEG = math.degrees(1.0)


@dataclass(frozen=True)
class View:
    """What a logbook holds of one calibration run."""

    path: Path
    run: Run
    logbook_id: str
    fingerprint: str
    certificate: Certificate | None
    result: Mapping[str, Any]
    reasons: Sequence[str]


def gather(path: Path, run_id: int) -> View:
    """Read one calibration run.

    Raises:
        RigError: not a logbook, no such run, or not a calibration.
    """
    with Logbook.open(path, writable=False) as book:
        run = book.run(run_id)
        if run.procedure not in TITLES:
            raise RigError(
                f"run {run_id} is a {run.procedure}, not a calibration",
                where=str(path),
                remedy=f"bladerig report {path} --run {run_id}",
            )
        made = [one for one in in_book(book) if one.run_id == run_id]
        one = made[-1] if made else None
        results = {r.result_id: r.result for r in book.results(run_id)}
        refused = [row.body["reasons"] for row in book.journal(run_id, "calibration_refused")]
        return View(
            path, run, book.logbook_id, book.head_fingerprint(), one,
            results[one.result_id] if one else {}, refused[-1] if refused else [],
        )  # fmt: skip


def write(path: Path, run_id: int, out: Path | None = None) -> Path:
    """Write the page of a calibration run; gives its path.

    Raises:
        RigError: as `gather`.
        OSError: the file cannot be written.
    """
    view = gather(path, run_id)
    environment = templates()
    environment.filters["quantity"] = quantity
    told = {} if view.certificate is None else _told(view, view.certificate)
    text = environment.get_template("certificate.html").render(
        title=TITLES[view.run.procedure],
        path=view.path,
        run=view.run,
        logbook_id=view.logbook_id,
        fingerprint=view.fingerprint,
        certificate=view.certificate,
        reasons=view.reasons,
        row_name=row_name,
        version=__version__,
        written=datetime.now(UTC),
        **told,
    )
    return whole(out or path.with_name(f"{path.stem}-run-{run_id}.html"), text)


def verdict(path: Path, run_id: int) -> str:
    """What came of a calibration run, in a sentence.

    Raises:
        RigError: as `gather`.
    """
    view = gather(path, run_id)
    if view.certificate is not None:
        return view.certificate.sentence
    return f"No certificate: {'; '.join(view.reasons) or UNFINISHED}"


def _told(view: View, one: Certificate) -> dict[str, Any]:
    figures = view.result["figures"]
    budget = _shown(view.result["measurands"][MAIN[one.channel]])
    return {
        "budget": budget,
        "unit": budget["unit"].replace("N.m", "N·m"),
        "picture": residuals.picture(one.channel, figures["sides"]),
        "scales": _scales(one, figures),
        "conditions": _conditions(view.run.versions["bench"], one, figures),
        "notes": _notes(one, figures),
    }


def _shown(budget: Mapping[str, Any]) -> dict[str, Any]:
    """The budget in the unit that people read: degrees for radians."""
    if budget["unit"] != "rad":
        return dict(budget)
    rows = [{**row, "contribution": row["contribution"] * DEG} for row in budget["rows"]]
    turned = {key: budget[key] * DEG for key in ("value", "u", "U")}
    return {**budget, **turned, "rows": rows, "unit": "°"}


def _scales(one: Certificate, figures: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    if one.channel != "load":
        return [("both", _formula(one.curve["right"]), figures["chosen"])]
    sides = figures["sides"]
    return [(side, _formula(one.curve[side]), sides[side]["chosen"]) for side in ("right", "left")]


def _formula(coefficients: Sequence[float]) -> str:
    names = ("", " x", " x²")
    parts = [f"{c:.8g}{name}" for c, name in zip(coefficients, names, strict=False) if c]
    return " + ".join(parts).replace("+ -", "- ") or "0"


def _conditions(
    bench: Mapping[str, Any], one: Certificate, figures: Mapping[str, Any]
) -> list[tuple[str, str]]:
    jig = bench["pry"]
    stated, arm = jig["calibration"], jig["arm"]
    if one.channel == "load":
        masses = ", ".join(f"{mass:g}" for mass in figures["masses_kg"])
        return [
            ("Weights", f"{masses} kg, u {stated['u_mass_relative']:.2%} of each"),
            ("Lever", f"{arm['calibration_m'] * 1e3:g} mm, u {arm['u_calibration_m'] * 1e3:g} mm"),
        ]
    if one.channel == "angle":
        stops = ", ".join(f"{stop:g}" for stop in stated["stops_deg"])
        return [("Stops", f"{stops}°, u {stated['u_stop_deg']:g}°")]
    return [("Marks", f"over {one.curve['high'] * 1e3:.0f} mm of a steel rule of class II")]


def _notes(one: Certificate, figures: Mapping[str, Any]) -> list[str]:
    if one.channel != "load":
        return []
    factor, classes = figures["lower_limit_factor_nm"], figures["classes_nm"]
    return [
        f"Lower limit factor (ASTM E74, 2.4 s): {factor:.2g} N·m. It is 1 % of a torque of "
        f"{100 * factor:.2g} N·m, 0.25 % (class A) of {classes['A']:.2g} N·m and 0.05 % (class AA) "
        f"of {classes['AA']:.2g} N·m; no torque below the smallest weight is certified.",
        "Deflection: reading less the zero at its place in the run, on the straight line from the "
        "zero before the run to the zero after it.",
    ]
