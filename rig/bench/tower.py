"""The drop tower and where it stands, as the bench file states them."""

from typing import Self

from pydantic import Field, model_validator

from rig.bench.part import Part

STATED = "stated by the bench"
"""The source of a figure that stands in the bench file or in its fixture's."""

UNWEIGHED = (
    "the carriage is not weighed: weigh it, and write mass_kg and u_mass_kg under [tower.carriage] "
    "in bench.toml"
)


class Site(Part):
    """Where the bench stands."""

    latitude_deg: float | None = Field(None, ge=-90, le=90)
    elevation_m: float | None = Field(None, ge=-500, le=9000)


class Travel(Part):
    """How far the carriage may be raised."""

    max_drop_m: float = Field(gt=0, le=3)
    min_drop_m: float = Field(gt=0)
    release_band_m: float = Field(gt=0, le=0.02)


class Carriage(Part):
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


class Wire(Part):
    """The draw-wire encoder; `source` of its scale: the height certificate where one holds."""

    count_m: float = Field(gt=1e-5, le=0.01)
    u_count_relative: float = Field(gt=0, le=0.05)
    source: str = STATED
    drum_mass_kg: float = Field(ge=0)
    u_drum_mass_kg: float = Field(ge=0)
    cyclic_m: float = Field(ge=0)


class Gate(Part):
    """The light gate."""

    fitted: bool
    flag_m: float = Field(gt=0)
    u_flag_m: float = Field(gt=0)
    above_contact_m: float = Field(gt=0)
    u_above_contact_m: float = Field(gt=0)


class Fall(Part):
    """What a fall on this tower looks like when all is well."""

    lowest_a_m_s2: float = Field(gt=0)
    highest_a_m_s2: float = Field(gt=0)
    a_change_limit: float = Field(gt=0, lt=1)
    empty_drops: int = Field(ge=2, le=50)
    empty_drop_m: float = Field(gt=0)


class Contact(Part):
    """The striker resting on the specimen."""

    u_contact_m: float = Field(gt=0)
    slip_limit_m: float = Field(gt=0)


class Tower(Part):
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
