"""The study file: the question, the groups with their treatment, the blades, what is compared.

One TOML file, checked as a whole. SI inside; lengths, temperatures and times as people write them
("0.30 mm", "1475 F", "10 min").
"""

from collections import Counter
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from rig.errors import RigError
from rig.study.register.disorder import disorder
from rig.study.register.responses import KINDS, ResponseKind
from rig.study.statistics.data import (
    LESS,
    LOG,
    MORE,
    NEITHER,
    BladeFacts,
    Group,
    Response,
    is_known,
)
from rig.tables import in_text
from rig.units import SUCH_AS, parse_quantity


def _quantity(dimension: str) -> BeforeValidator:
    def read(value: object) -> object:
        if not isinstance(value, str):
            return value
        try:
            return parse_quantity(value, dimension)
        except RigError as error:
            raise ValueError(str(error)) from None

    return BeforeValidator(read)


def _in_text(value: object) -> object:
    return in_text(value) if isinstance(value, bool | int | float) else value


Setting = Annotated[str, BeforeValidator(_in_text)]
UNSTATED = ("all",)  # blocks of a file that names none
HOURS = 6.0  # ours: a day at the bench, where the file states none
THICKEST_M = 0.03  # ours: thicker is a slip of the pen


def _of_a_blade(thickness_m: float) -> float:
    if not 0 < thickness_m <= THICKEST_M:
        raise ValueError(
            f"{thickness_m * 1e3:g} mm is no thickness of a blade; write it like "
            f'"{SUCH_AS["length"]}", above 0 and up to {THICKEST_M * 1e3:g} mm'
        )
    return thickness_m


Thickness = Annotated[float, _quantity("length"), AfterValidator(_of_a_blade)]
Temperature = Annotated[float, _quantity("temperature"), Field(ge=-200, le=1400)]
Time = Annotated[float, _quantity("time"), Field(gt=0)]


BETTER = {MORE: "the more there is of it", LESS: "the less there is of it", NEITHER: "neither way"}


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Treatment(_Part):
    """One step of a heat treatment; temperature in degree Celsius, hold in seconds."""

    what: str = Field(min_length=1)
    temperature: Temperature | None = None
    hold: Time | None = None
    medium: str = ""
    note: str = ""


class GroupRecord(_Part):
    """One combination of steel, treatment and geometry."""

    name: str = Field(min_length=1)
    control: bool = False
    steel: str = ""
    treatment: tuple[Treatment, ...] = ()
    note: str = ""


class BladeRecord(_Part):
    """One blade; lengths in metres."""

    name: str = Field(min_length=1)
    group: str
    load: str = ""
    angle_deg: float | None = Field(default=None, gt=0, lt=60)
    thickness: Thickness | None = None
    tip_thickness: Thickness | None = None
    finish: str = ""
    batch: str = ""


class ResponseRecord(_Part):
    """What is compared, and how much of it matters."""

    name: str
    smallest: float = Field(gt=0)
    margin: float = Field(gt=0)
    scatter: float | None = Field(default=None, gt=0)
    within: float = Field(default=0.0, ge=0)
    load_scatter: float | None = Field(default=None, ge=0)
    repeats: int = Field(default=1, ge=1, le=50)
    parity: bool = False
    better: Literal["more", "less", "neither"] | None = None
    better_because: str = ""
    settings: dict[str, Setting] = Field(default_factory=dict)

    @property
    def kind(self) -> ResponseKind:
        """Where it comes from and how it is compared."""
        return KINDS[self.name]

    def response(self) -> Response:
        """As the comparison takes it."""
        kind = self.kind
        return Response(
            kind.title, kind.unit, kind.scale, self.smallest, self.margin,
            self.better or kind.better, self.better_because,
        )  # fmt: skip

    @model_validator(mode="before")
    @classmethod
    def _early(cls, told: Any) -> Any:
        """Early records say `larger_is_better`: true unasked for, so only false speaks."""
        if not isinstance(told, dict) or "larger_is_better" not in told:
            return told
        larger = told["larger_is_better"]
        kept = {key: value for key, value in told.items() if key != "larger_is_better"}
        kind = KINDS.get(str(told.get("name")))
        if larger is False and kind is not None and kind.better != LESS:
            kept |= {"better": LESS, "better_because": "as the study file said"}
        return kept

    @model_validator(mode="after")
    def _known(self) -> "ResponseRecord":
        if self.name not in KINDS:
            raise ValueError(f"no response '{self.name}'; there is {', '.join(KINDS)}")
        if self.kind.scale == LOG and min(self.smallest, self.margin) <= 1:
            raise ValueError(
                f"{self.name} is compared as a ratio: smallest and margin are ratios above 1"
            )
        if self.better not in (None, self.kind.better) and not self.better_because.strip():
            raise ValueError(
                f"{self.name} is better {BETTER[self.kind.better]}: to say {self.better} give the "
                'reason, like better_because = "a softer edge is wanted"'
            )
        return self


class StudyRecord(_Part):
    """A whole study as its file states it."""

    title: str = Field(min_length=1)
    question: str = Field(min_length=1)
    primary: str
    kind: Literal["study"] = "study"
    blocks: tuple[str, ...] = UNSTATED
    hours_a_day: float = Field(default=HOURS, gt=0, le=24)
    group: tuple[GroupRecord, ...]
    response: tuple[ResponseRecord, ...]
    settings: dict[str, dict[str, Setting]] = Field(default_factory=dict)
    blade: tuple[BladeRecord, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> "StudyRecord":
        faults = [text for _, text in disorder(self.model_dump())]
        if faults:
            raise ValueError("; ".join(faults))
        return self

    @property
    def has_blocks(self) -> bool:
        """Whether the file states blocks; left out, the days of the calendar are the blocks."""
        return self.blocks != UNSTATED

    @property
    def control(self) -> str | None:
        """Name of the control group."""
        return next((group.name for group in self.group if group.control), None)

    def groups(self) -> tuple[Group, ...]:
        """As the comparison takes them."""
        return tuple(Group(g.name, g.control) for g in self.group)

    def facts(self) -> tuple[BladeFacts, ...]:
        """Geometry of the blades."""
        return tuple(BladeFacts(b.name, b.angle_deg, b.thickness) for b in self.blade)

    def cautions(self) -> list[str]:
        """What the study as entered will not be able to say, in plain sentences."""
        told = []
        if self.control is None:
            told.append("No group is the control: all pairs will be compared.")
        for group in self.group:
            blades = [b for b in self.blade if b.group == group.name]
            if len(blades) == 1:
                told.append(
                    f"Group {group.name} has one blade: group cannot be told from blade, so "
                    "nothing will be said of the group."
                )
        told += self._of_loads()
        counts = {Counter(b.group for b in self.blade)[g.name] for g in self.group}
        if len(counts) > 1:
            told.append("The groups have unequal numbers of blades: it costs some power.")
        return told

    def _of_loads(self) -> list[str]:
        by_group: dict[str, set[str]] = {}
        for blade in self.blade:
            load = blade.load if is_known(blade.load) else ""
            by_group.setdefault(blade.group, set()).add(load)
        unknown = [group for group, loads in by_group.items() if "" in loads]
        told = []
        if unknown:
            told.append(
                f"The furnace load of blades of {', '.join(unknown)} is not known: they will count "
                "as treated in one load of their group."
            )
        known = set().union(*by_group.values()) if by_group else set()
        if len(known) == 1 and not unknown:
            told.append(
                "All blades come from one furnace load: what is found holds for that load, and for "
                "recipes only if nothing else differed between them there (tempered apart, each "
                "part of a load is a load of its own)."
            )
        elif len(by_group) > 1 and all(len(loads) == 1 for loads in by_group.values()):
            told.append(
                "Each group has one furnace load, as far as is known: a difference between "
                "recipes will be a difference between loads, and the verdict will be "
                '"cannot tell".'
            )
        return told
