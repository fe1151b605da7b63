"""Every kind of measurand, registered once. Page, study, export and runner read it here.

A kind of your own: its entry here, its mathematics in `rig/measure/`, its section of the page in
`rig/report/`, its responses in `rig/study/register/responses.py` and the procedure that aims at it.
A kind on a blade that lacks a section or a response is refused at import.
"""

from collections.abc import Collection, Mapping
from typing import Any

from rig.calibration import angle, height, load
from rig.errors import RigError
from rig.guide import edges, jigs, measures
from rig.guide.assumed import USUAL, too_narrow
from rig.guide.kind import MeasurandKind, OnSpecimen, Settings
from rig.measure.staircase.evaluate import evaluate_staircase


def _still_sharp(result: Mapping[str, Any]) -> str:
    life = result.get("life")
    if life is None or life["first_fail_cuts"] is not None:
        return ""
    return "An edge that was still sharp gives a bound: ask for more cuts (limit=...)."


def _more_drops(result: Mapping[str, Any]) -> str:
    if not too_narrow(result):
        return ""
    return f"{USUAL} drops or more (drops={USUAL}) find the scatter of the sites themselves."


DROP = OnSpecimen(
    title="Drop-weight impact",
    noun="drop",
    procedure="drop_impact",
    main="impact_energy",
    again="on a fresh site of the edge",
    bench=("tower.", "site."),
    empty=lambda settings: settings["asked"].get("energy_j") is None,
    minutes=12,
    media="fresh face of the rod",
)
STAIRCASE = OnSpecimen(
    title="Staircase impact",
    noun="staircase",
    procedure="staircase_impact",
    main="failure_energy",
    again="on fresh sites",
    missed="The staircase itself came to no result.",
    bench=("tower.", "site."),
    bounds={
        ("", "right"): "No site failed: begin another staircase at a higher energy.",
        ("", "left"): "Every site failed: begin another staircase at a lower energy.",
    },
    asks=_more_drops,
    minutes=180,
    media="rod with 20 fresh faces",
)
PRY = OnSpecimen(
    title="Pry torque to tip failure",
    noun="trial",
    procedure="pry_to_failure",
    main="peak_torque",
    again="with another tip: this one is used up",
    bench=("pry.", "cell."),
    curve=jigs.pry_curve,
    bounds={
        ("survived", "right"): "A tip that held gives a bound: a harder block (schedule=...) asks "
        "more of it.",
        ("bend", "right"): "A tip that bent while its torque still rose gives a bound: it took at "
        "least that torque, and a bent tip is not pried again.",
    },
    minutes=15,
)
TWIST = OnSpecimen(
    title="Edge-stability twist",
    noun="trial",
    procedure="edge_twist",
    main="peak_torque",
    again="at a fresh place of the edge and in a fresh slot",
    bench=("pry.", "twist.", "cell."),
    curve=jigs.twist_curve,
    minutes=15,
    media="fresh slot in hardwood",
)
HARDNESS = OnSpecimen(
    title="Rockwell hardness",
    noun="blade",
    procedure="hardness",
    main="hardness",
    again="at fresh places of the blade",
    minutes=8,
    destroys=False,
)
EDGE_LIFE = OnSpecimen(
    title="Cuts to dull",
    noun="blade",
    procedure="cuts_to_dull",
    main="edge_life",
    again="on an edge sharpened anew",
    missed="No edge life was found.",
    bench=("frame.", "cell."),
    asks=_still_sharp,
    minutes=120,
    media="cutting medium for one edge",
)
SHARPNESS = OnSpecimen(
    title="Sharpness",
    noun="probe",
    procedure="sharpness",
    main="severing_force",
    again="at places not used before",
    bench=("cell.",),
    minutes=6,
    destroys=False,
    media="fresh thread",
)

KINDS: dict[str, MeasurandKind] = {
    kind.name: kind
    for kind in (
        MeasurandKind("drop", measures.drop, ("height",), True, DROP),
        MeasurandKind(
            "staircase", lambda _, settings: evaluate_staircase(settings), ("height",), True,
            STAIRCASE,
        ),
        MeasurandKind("pry", jigs.pry, ("load", "angle"), on_specimen=PRY),
        MeasurandKind("twist", jigs.twist, ("load", "angle"), on_specimen=TWIST),
        MeasurandKind("hardness", measures.hardness, on_specimen=HARDNESS),
        MeasurandKind("edge_life", edges.edge_life, on_specimen=EDGE_LIFE),
        MeasurandKind("sharpness", edges.sharpness, on_specimen=SHARPNESS),
        MeasurandKind("no_load_sweep", jigs.sweep, ("load", "angle")),
        MeasurandKind("reading", measures.reading),
        MeasurandKind("load_calibration", lambda _, settings: load.calibrate(settings)),
        MeasurandKind("angle_calibration", lambda _, settings: angle.calibrate(settings)),
        MeasurandKind("height_calibration", lambda _, settings: height.calibrate(settings)),
    )
}  # fmt: skip

ON_SPECIMEN: dict[str, OnSpecimen] = {
    name: kind.on_specimen for name, kind in KINDS.items() if kind.on_specimen is not None
}
AIM_OF: dict[str, str] = {one.procedure: name for name, one in ON_SPECIMEN.items()}
"""Procedure -> the kind it aims at."""


def kind_of(measurand: str) -> MeasurandKind:
    """What is registered of a kind.

    Raises:
        RigError: there is none.
    """
    if measurand not in KINDS:
        raise RigError(
            f"nothing measures '{measurand}'", remedy=f"there is {', '.join(sorted(KINDS))}"
        )
    return KINDS[measurand]


def compute(measurand: str, raw: bytes, settings: Settings) -> dict[str, Any]:
    """The result of one measurement as plain data.

    Raises:
        RigError: no such measurement.
    """
    return kind_of(measurand).compute(raw, settings)


def require_whole(table: Collection[str], what: str) -> None:
    """Refuse, at import, a table that leaves out a kind on a specimen or names one that is not.

    Args:
        table: names of the kinds that it has.
        what: one entry of it, like "section of the page".

    Raises:
        LookupError: naming them.
    """
    missing, strange = ON_SPECIMEN.keys() - set(table), set(table) - ON_SPECIMEN.keys()
    if missing:
        raise LookupError(f"no {what} for: {', '.join(sorted(missing))}")
    if strange:
        raise LookupError(f"{what} for what is not measured: {', '.join(sorted(strange))}")
