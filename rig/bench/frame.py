"""The cutting frame, as the bench file states it."""

from pydantic import Field, model_validator

from rig.bench.part import Part


class Stroke(Part):
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


class Hung(Part):
    """How the blade hangs over the strip."""

    slope_deg: float = Field(gt=0, le=45)
    clear_m: float = Field(gt=0)


class Strip(Part):
    """What the frame can cut, and how much of it one cut takes."""

    fresh_length_m: float = Field(gt=0)
    width_m: float = Field(gt=0)
    thickest_m: float = Field(gt=0)


class Drive(Part):
    """The carriage's motor, if there is one."""

    fitted: bool
    stroke_s: float = Field(gt=0)
    clutch_n: float = Field(gt=0)


class CuttingFrame(Part):
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
