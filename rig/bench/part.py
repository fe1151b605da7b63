"""What every table of the bench file keeps to."""

import re
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator, model_validator

from rig import tables


class Part(BaseModel):
    """One table of the bench file: no key it does not know, no change once read.

    Raises:
        ValueError: (as pydantic gives it) an unknown key, a number that is none or not finite, or
            an uncertainty `u_x` above half of its `x`.
    """

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
