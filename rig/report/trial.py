"""One measurement of a run as a page shows it: what it gave, and what stands against it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rig.board.samples import Capture
from rig.guide.kinds import kind_of
from rig.guide.verdict import Verdict
from rig.measure.budget import Reason

NO_VERDICT = Reason("no_verdict", "no verdict is on record")


@dataclass(frozen=True)
class MeasuredTrial:
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
    verdict: Verdict | None
    damage: dict[str, Any] | None
    lacks: tuple[Reason, ...] = ()

    @property
    def judged(self) -> bool:
        """Whether the procedure came as far as its verdict."""
        return self.verdict is not None

    @property
    def on_specimen(self) -> bool:
        """Whether a blade was tested, not the empty tower, the bare arm or a channel."""
        kind = kind_of(self.measurand).on_specimen
        return self.judged or (kind is not None and not kind.empty(self.settings))

    @property
    def valid(self) -> bool:
        """Whether nothing stands against it."""
        return not self.reasons

    @property
    def details(self) -> Mapping[str, Any]:
        """What else its verdict tells."""
        return {} if self.verdict is None else self.verdict.details

    @property
    def against(self) -> list[Reason]:
        """What was found against it."""
        if self.verdict is not None:
            return list(self.verdict.reasons)
        return [Reason(**reason) for reason in self.result["reasons"]]

    @property
    def reasons(self) -> list[str]:
        """Why it does not count, in words; a test of a blade counts by its verdict alone."""
        unjudged = [NO_VERDICT] if self.on_specimen and not self.judged else []
        return [reason.text for reason in (*self.against, *unjudged)]

    @property
    def coded(self) -> list[str]:
        """What was found, each with the name by which the procedure's page explains it."""
        names = {reason["text"]: reason["name"] for reason in self.result["reasons"]}
        told = [reason.text for reason in self.against]
        return [f"{text} [{names[text]}]" if text in names else text for text in told]

    @property
    def indication(self) -> list[str]:
        """Why its numbers are an indication only (a certificate is lacking)."""
        lacks = self.lacks if self.verdict is None else self.verdict.lacks
        return [reason.text for reason in lacks]
