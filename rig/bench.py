"""bench.toml: the rig as bolted together, checked as a whole before anything moves."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from rig import tables
from rig.tables import FileFaults

TEMPLATE = """\
# The rig as bolted together. Change what differs on yours; take out what does not.
# Design values of the fixture are in {fixture}.

name = "my bench"

[site]                     # for local gravity; leave both out if you do not know them
# latitude_deg = 47.0
# elevation_m = 400

[tower]
fixture = "drop_tower"

[tower.carriage]           # until both stand here (take the # away) every drop is an indication
# mass_kg = 2.000          # weigh yours with striker, rod and flag: energy goes straight with it
# u_mass_kg = 0.003        # how sure: the scale, and the catch cable that half hangs on it

[cell]                     # the load cell: its own number goes on every certificate
serial = "cell 1"
mounted = "arm"            # "arm" (pry and twist jigs) or "carriage" (cutting frame)
capacity_n = 200.0
sensitivity_mv_v = 2.0     # at capacity; a value far from it points to a wrong unit

[pry]
fixture = "pry_jig"

[twist]
fixture = "twist_jig"

[frame]
fixture = "cutting_frame"

[frame.drive]
fitted = false             # true with a motor: the program then permits, your hand starts it
"""


STATED = "stated by the bench"
"""The source of a figure that stands in the bench file or in its fixture's."""

UNWEIGHED = (
    "the carriage is not weighed: weigh it, and write mass_kg and u_mass_kg under [tower.carriage] "
    "in bench.toml"
)

# Part of the bench file: the fixture folder of its usual design, and the file in there.
FIXTURES = {
    "tower": ("drop_tower", "tower.toml"),
    "pry": ("pry_jig", "jig.toml"),
    "twist": ("twist_jig", "jig.toml"),
    "frame": ("cutting_frame", "frame.toml"),
}


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _plain_numbers(cls, value: Any, info: ValidationInfo) -> Any:
        """`true` is no mass, and "2.0" in quotes is no number."""
        wanted = str(cls.model_fields[info.field_name or ""].annotation)
        if isinstance(value, bool | str) and re.search(r"\b(float|int)\b", wanted):
            told = str(value).lower() if isinstance(value, bool) else repr(value)
            raise ValueError(f"{told} is not a number; {tables.NUMBER}")
        return value

    @model_validator(mode="after")
    def _sure_enough(self) -> Self:
        """An uncertainty is a small part of what it is the uncertainty of."""
        for name, u in self:
            value = getattr(self, name.removeprefix("u_"), None)
            if name.startswith("u_") and isinstance(value, float) and u > value / 2 > 0:
                raise ValueError(
                    f"{name} = {u:g} is more than half of {name.removeprefix('u_')} = {value:g}; "
                    "it is the standard uncertainty, in the same unit"
                )
        return self


class Site(_Part):
    """Where the bench stands."""

    latitude_deg: float | None = Field(None, ge=-90, le=90)
    elevation_m: float | None = Field(None, ge=-500, le=9000)


class Travel(_Part):
    """How far the carriage may be raised."""

    max_drop_m: float = Field(gt=0, le=3)
    min_drop_m: float = Field(gt=0)
    release_band_m: float = Field(gt=0, le=0.02)


class Carriage(_Part):
    """What falls.

    Attributes:
        weighed: its mass is the bench's own, and not the design's.
        practice: it is the virtual rig's, whose true mass is drawn about the stated one.

    The program works these out; the file cannot state them.
    """

    mass_kg: float = Field(gt=0.1, le=20)
    u_mass_kg: float = Field(gt=0)
    weighed: bool = False
    practice: bool = False

    @property
    def against(self) -> tuple[str, ...]:
        """Why energies are no more than an indication; empty when they count."""
        return () if self.weighed or self.practice else (UNWEIGHED,)

    @property
    def source(self) -> str:
        """Where its mass is from, for a budget."""
        if self.practice:
            return "not weighed: the virtual rig's true mass is drawn about the stated one"
        return STATED if self.weighed else "the design's: not weighed"

    @model_validator(mode="after")
    def _well_weighed(self) -> Self:
        if self.u_mass_kg > 0.05 * self.mass_kg:
            raise ValueError(
                f"u_mass_kg = {self.u_mass_kg:g} is more than a twentieth of mass_kg = "
                f"{self.mass_kg:g}; weigh the carriage on a better scale"
            )
        return self


class Wire(_Part):
    """The draw-wire encoder; `source` of its scale: the height certificate where one holds."""

    count_m: float = Field(gt=1e-5, le=0.01)
    u_count_relative: float = Field(gt=0, le=0.05)
    source: str = STATED
    drum_mass_kg: float = Field(ge=0)
    u_drum_mass_kg: float = Field(ge=0)
    cyclic_m: float = Field(ge=0)


class Gate(_Part):
    """The light gate."""

    fitted: bool
    flag_m: float = Field(gt=0)
    u_flag_m: float = Field(gt=0)
    above_contact_m: float = Field(gt=0)
    u_above_contact_m: float = Field(gt=0)


class Fall(_Part):
    """What a fall on this tower looks like when all is well."""

    lowest_a_m_s2: float = Field(gt=0)
    highest_a_m_s2: float = Field(gt=0)
    a_change_limit: float = Field(gt=0, lt=1)
    empty_drops: int = Field(ge=2, le=50)
    empty_drop_m: float = Field(gt=0)


class Contact(_Part):
    """The striker resting on the specimen."""

    u_contact_m: float = Field(gt=0)
    slip_limit_m: float = Field(gt=0)


class Tower(_Part):
    """The drop tower: the fixture's design values with the bench's own on top."""

    fixture: str
    travel: Travel
    carriage: Carriage
    wire: Wire
    gate: Gate
    fall: Fall
    contact: Contact

    @model_validator(mode="after")
    def _in_order(self) -> "Tower":
        travel, fall = self.travel, self.fall
        if travel.min_drop_m >= travel.max_drop_m:
            raise ValueError("travel.min_drop_m must be below travel.max_drop_m")
        if fall.lowest_a_m_s2 >= fall.highest_a_m_s2:
            raise ValueError("fall.lowest_a_m_s2 must be below fall.highest_a_m_s2")
        if not travel.min_drop_m <= fall.empty_drop_m <= travel.max_drop_m:
            raise ValueError("fall.empty_drop_m must lie within travel.min_drop_m and max_drop_m")
        return self


class Cell(_Part):
    """The load cell, and where it is mounted."""

    serial: str = Field(min_length=1)
    mounted: Literal["arm", "carriage"]
    capacity_n: float = Field(gt=0, le=5000)
    sensitivity_mv_v: float = Field(gt=0.1, le=10)


class Arm(_Part):
    """The arm that pries and twists."""

    length_m: float = Field(gt=0.02, le=2)
    u_length_m: float = Field(gt=0)
    calibration_m: float = Field(gt=0.02, le=2)
    free_m: float = Field(gt=0.001, le=0.5)
    u_free_m: float = Field(gt=0)
    u_calibration_m: float = Field(gt=0)
    stop_deg: float = Field(gt=0, le=180)
    u_align_deg: float = Field(gt=0, le=10)


class AngleSensor(_Part):
    """The arm's angle sensor, as its maker states it."""

    span_deg: float = Field(gt=0, le=360)
    low_share: float = Field(ge=0, lt=1)
    high_share: float = Field(gt=0, le=1)


class JigCalibration(_Part):
    """Dead weights and stops that the jig is calibrated with."""

    masses_kg: tuple[Annotated[float, Field(gt=0, le=50)], ...] = Field(min_length=3)
    u_mass_relative: float = Field(gt=0, le=0.05)
    density_kg_m3: float = Field(gt=500, le=25000)
    stops_deg: tuple[Annotated[float, Field(ge=-180, le=180)], ...] = Field(min_length=2)
    u_stop_deg: float = Field(gt=0)
    settle_s: float = Field(gt=0, le=60)
    read_s: float = Field(gt=0.2, le=60)
    months_valid: int = Field(ge=1, le=60)


class JigCheck(_Part):
    """The quick check before trials."""

    mass_kg: float = Field(gt=0, le=50)


class PryLimits(_Part):
    """How a tip is pried, and what a trial may look like."""

    depth_m: float = Field(gt=0)
    preload_nm: float = Field(gt=0)
    onset_offset_deg: float = Field(gt=0, le=10)
    rate_low_deg_s: float = Field(gt=0)
    rate_high_deg_s: float = Field(gt=0)
    ramp_low_s: float = Field(gt=0)
    ramp_high_s: float = Field(gt=0)
    angle_limit_deg: float = Field(gt=0, le=180)
    capacity_share: float = Field(gt=0, le=1)
    sweep_scatter_nm: float = Field(gt=0)
    drift_limit_share: float = Field(gt=0, lt=1)
    under_read_limit_share: float = Field(gt=0, lt=1)


class PryJig(_Part):
    """The pry jig: arm, cell seat, block and angle plate."""

    fixture: str
    arm: Arm
    angle: AngleSensor
    calibration: JigCalibration
    check: JigCheck
    pry: PryLimits

    @model_validator(mode="after")
    def _in_order(self) -> "PryJig":
        pry = self.pry
        if pry.rate_low_deg_s >= pry.rate_high_deg_s:
            raise ValueError("pry.rate_low_deg_s must be below pry.rate_high_deg_s")
        if pry.ramp_low_s >= pry.ramp_high_s:
            raise ValueError("pry.ramp_low_s must be below pry.ramp_high_s")
        if pry.angle_limit_deg >= self.arm.stop_deg:
            raise ValueError("pry.angle_limit_deg must be below arm.stop_deg")
        return self


class Slot(_Part):
    """Where the edge stands in the block."""

    length_m: float = Field(gt=0)
    u_length_m: float = Field(gt=0)
    depth_m: float = Field(gt=0)


class TwistLimits(_Part):
    """How an edge is twisted, and what a trial may look like."""

    amplitude_deg: float = Field(gt=0, le=90)
    cycles: int = Field(ge=1, le=200)
    rate_low_deg_s: float = Field(gt=0)
    rate_high_deg_s: float = Field(gt=0)
    overshoot_deg: float = Field(gt=0)
    drift_limit_share: float = Field(gt=0, lt=1)


class TwistJig(_Part):
    """The twist jig's own part; arm, cell and angle sensor are the pry jig's."""

    fixture: str
    slot: Slot
    twist: TwistLimits


class Stroke(_Part):
    """The carriage's way from near switch to far switch, and the time of a full stroke."""

    length_m: float = Field(gt=0.02, le=2)
    u_length_m: float = Field(gt=0)
    min_s: float = Field(ge=0.05, le=16)
    max_s: float = Field(gt=0, le=16)

    @model_validator(mode="after")
    def _in_order(self) -> "Stroke":
        if self.min_s >= self.max_s:
            raise ValueError("stroke.min_s must be below stroke.max_s")
        return self


class Hung(_Part):
    """How the blade hangs over the strip."""

    slope_deg: float = Field(gt=0, le=45)
    clear_m: float = Field(gt=0)


class Strip(_Part):
    """What the frame can cut, and how much of it one cut takes."""

    fresh_length_m: float = Field(gt=0)
    width_m: float = Field(gt=0)
    thickest_m: float = Field(gt=0)


class Drive(_Part):
    """The carriage's motor, if there is one."""

    fitted: bool
    stroke_s: float = Field(gt=0)
    clutch_n: float = Field(gt=0)


class CuttingFrame(_Part):
    """The frame that draws a blade through media, stroke by stroke."""

    fixture: str
    stroke: Stroke
    blade: Hung
    media: Strip
    drive: Drive

    @model_validator(mode="after")
    def _in_order(self) -> "CuttingFrame":
        if not self.stroke.min_s < self.drive.stroke_s < self.stroke.max_s:
            raise ValueError("drive.stroke_s must lie within stroke.min_s and stroke.max_s")
        return self


class Bench(_Part):
    """Everything the measurements need to know of the rig.

    `certificates` are put in by the program that runs a procedure (by channel, as
    `rig.calibration.certificate.to_dict` gives them); the file cannot state them.
    """

    name: str
    port: str = ""
    site: Site = Site(latitude_deg=None, elevation_m=None)
    tower: Tower
    cell: Cell = Cell(serial="cell 1", mounted="arm", capacity_n=200.0, sensitivity_mv_v=2.0)
    pry: PryJig
    twist: TwistJig
    frame: CuttingFrame
    certificates: dict[str, Any] = Field(default_factory=dict)


def fixtures_folder() -> Path:
    """The fixtures: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parent
    inside = package / "fixtures"
    return inside if inside.is_dir() else package.parent / "fixtures"


def load(path: Path | None) -> Bench:
    """Read bench.toml; None gives the fixture's design values under the name "design bench".

    Raises:
        FileFaults: every fault at once, each with its line and key.
    """
    if path is None:
        return _checked({"name": "design bench", "tower": {}}, "", "built-in")
    told, text = tables.read(path, f"make one with 'bladerig bench init {path}'")
    return _checked(told, text, str(path))


def practising(bench: Bench) -> Bench:
    """The bench on the virtual rig: nobody weighs a carriage that is not there."""
    return _with_carriage(bench, practice=True)


def _with_carriage(bench: Bench, **told: bool) -> Bench:
    carriage = bench.tower.carriage.model_copy(update=told)
    tower = bench.tower.model_copy(update={"carriage": carriage})
    return bench.model_copy(update={"tower": tower})


def _checked(told: dict[str, Any], text: str, name: str) -> Bench:
    faults = [*_unstatable(told, text, name)]
    carriage = _of_tower(told, "carriage")
    for part, usual in FIXTURES.items():
        own = told.get(part, {} if part != "tower" else None)
        if isinstance(own, dict):
            design, wrong = _fixture(part, usual, own, name, text)
            faults += wrong
            told = told | {part: _over(design, own)}
    try:
        bench = tables.validate(Bench, told, text, name)
    except FileFaults as error:
        faults += error.faults
    if faults:
        raise FileFaults(sorted(faults, key=tables.line))
    own = carriage.keys() >= {"mass_kg", "u_mass_kg"}
    return _with_carriage(bench, weighed=True) if own else bench


def _of_tower(told: dict[str, Any], part: str) -> dict[str, Any]:
    """What the file itself says of a part of the tower."""
    tower = told.get("tower")
    found = tower.get(part) if isinstance(tower, dict) else None
    return found if isinstance(found, dict) else {}


def _unstatable(told: dict[str, Any], text: str, name: str) -> Iterator[str]:
    """Takes out what only the program may put in, with a fault for each."""
    if told.pop("certificates", None) is not None:
        place = tables.place(("certificates",), text, name)
        yield f"{place}: cannot be stated; run bladerig calibrate"
    for part, key, remedy in (
        ("carriage", "weighed", "write mass_kg and u_mass_kg"),
        ("carriage", "practice", "practise with --virtual"),
        ("wire", "source", "run bladerig calibrate height"),
    ):
        if _of_tower(told, part).pop(key, None) is not None:
            place = tables.place(("tower", part, key), text, name)
            yield f"{place}: cannot be stated; {remedy}"


def _fixture(
    part: str, usual: tuple[str, str], own: dict[str, Any], name: str, text: str
) -> tuple[dict[str, Any], list[str]]:
    """The design of a part; for one that is not there the usual one, with the fault."""
    folder, design_file = usual
    wanted, faults = own.get("fixture", folder), []
    design = _design(wanted, design_file)
    if design.get("kind") != folder:
        there = ", ".join(_designs(folder, design_file))
        place = tables.place((part, "fixture"), text, name)
        faults.append(f"{place}: no fixture {wanted!r}; there is {there}")
        design = _design(folder, design_file)
    design["fixture"] = design.pop("kind")
    return design, faults


def _design(wanted: object, design_file: str) -> dict[str, Any]:
    """What a fixture's folder says; empty when there is no such folder."""
    file = fixtures_folder() / str(wanted) / design_file
    return tomllib.loads(file.read_text(encoding="utf-8")) if _is_name(str(wanted), file) else {}


def _is_name(wanted: str, file: Path) -> bool:
    return re.fullmatch(r"\w+", wanted) is not None and file.is_file()


def _designs(kind: str, design_file: str) -> list[str]:
    """Fixture folders that hold a design of this kind."""
    files = fixtures_folder().glob(f"*/{design_file}")
    return sorted(
        file.parent.name
        for file in files
        if tomllib.loads(file.read_text(encoding="utf-8")).get("kind") == kind
    )


def _over(base: dict[str, Any], top: dict[str, Any]) -> dict[str, Any]:
    """`top` laid over `base`, table by table."""
    merged = dict(base)
    for key, value in top.items():
        below = merged.get(key)
        both = isinstance(value, dict) and isinstance(below, dict)
        merged[key] = _over(below, value) if both else value  # type: ignore[arg-type]
    return merged
