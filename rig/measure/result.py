"""What one trial gave: measurands by name, what stands against it, further figures."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Self

from rig.measure.budget import Measurand, Reason, from_dict, to_dict


@dataclass(frozen=True)
class Result:
    """The part that all kinds of trial share; a kind adds its own fields of plain data.

    Attributes:
        measurands: by name.
        reasons: why the trial is not valid; empty when it is.
        figures: further numbers of the evaluation, by name, SI.
    """

    measurands: Mapping[str, Measurand] = field(default_factory=dict)
    reasons: tuple[Reason, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Measurand:
        return self.measurands[name]

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        own = {f.name: getattr(self, f.name) for f in fields(self)}
        return own | {
            "measurands": {name: to_dict(m) for name, m in self.measurands.items()},
            "reasons": [vars(reason).copy() for reason in self.reasons],
            "figures": dict(self.figures),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """The result that `to_dict` wrote."""
        told = {f.name: data[f.name] for f in fields(cls)}
        told["measurands"] = {name: from_dict(m) for name, m in data["measurands"].items()}
        told["reasons"] = tuple(Reason(**reason) for reason in data["reasons"])
        return cls(**told)
