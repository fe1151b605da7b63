"""One measurement of a run as a page shows it: what it gave, and what stands against it."""

from dataclasses import dataclass
from typing import Any

from rig.board.samples import Capture

NO_VERDICT = "no verdict is on record"
ON_A_SPECIMEN = {"drop", "pry", "twist", "hardness", "edge_life", "sharpness", "staircase"}


@dataclass(frozen=True)
class Trial:
    """One measured trial with everything that belongs to it.

    `raw_sha256` is of the frames as received; "" for one computed from earlier readings alone.
    """

    name: str
    measurand: str
    result: dict[str, Any]
    settings: dict[str, Any]
    raw_id: int | None
    raw_sha256: str
    seen: Capture
    verdict: dict[str, Any] | None
    damage: dict[str, Any] | None
    lacks: tuple[str, ...] = ()

    @property
    def judged(self) -> bool:
        """Whether the procedure came as far as its verdict."""
        return self.verdict is not None

    @property
    def on_specimen(self) -> bool:
        """Whether a blade was tested, not the empty tower, the bare arm or a channel."""
        empty = self.measurand == "drop" and self.settings["asked"].get("energy_j") is None
        return self.judged or (self.measurand in ON_A_SPECIMEN and not empty)

    @property
    def valid(self) -> bool:
        """Whether nothing stands against it."""
        return not self.reasons

    @property
    def against(self) -> list[str]:
        """What was found against it, in words."""
        if self.verdict is not None:
            return list(self.verdict["reasons"])
        return [reason["text"] for reason in self.result["reasons"]]

    @property
    def reasons(self) -> list[str]:
        """Why it does not count, in words; a test of a blade counts by its verdict alone."""
        return self.against if self.judged or not self.on_specimen else [*self.against, NO_VERDICT]

    @property
    def coded(self) -> list[str]:
        """What was found, each with the name by which the procedure's page explains it."""
        names = {reason["text"]: reason["name"] for reason in self.result["reasons"]}
        return [f"{text} [{names[text]}]" if text in names else text for text in self.against]

    @property
    def indication(self) -> list[str]:
        """Why its numbers are an indication only (a certificate is lacking)."""
        if self.verdict is None:
            return list(self.lacks)
        return list(self.verdict.get("indication", []))
