"""How often a number that the program calls good misses a truth that it never saw."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Tally:
    """What a program said of many trials with one thing wrong with them.

    Attributes:
        made: trials.
        told, held, silent: by quantity; trials that stated it, whose interval holds the truth, and
            that were called valid while it does not.
        refused: trials against which something stood that is no fact of the trial, and why.
    """

    made: int = 0
    told: Counter[str] = field(default_factory=Counter)
    held: Counter[str] = field(default_factory=Counter)
    silent: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    reasons: Counter[str] = field(default_factory=Counter)

    def add(
        self, result: Mapping[str, Any], truth: Mapping[str, float], facts: Iterable[str] = ()
    ) -> None:
        """Count one trial.

        Args:
            result: as the program keeps it.
            truth: by name of the measurand; what is not in it is not judged.
            facts: reasons that are true of this trial, so no refusal of a good one.
        """
        against = {reason["name"] for reason in result["reasons"]} - set(facts)
        self.made += 1
        self.refused += bool(against)
        self.reasons.update(against)
        for name, value in truth.items():
            stated = result["measurands"].get(name)
            if stated is not None:
                holds = abs(stated["value"] - value) <= stated["U"]
                self.told[name] += 1
                self.held[name] += holds
                self.silent[name] += not holds and not against

    def share_held(self, name: str) -> float:
        """Share of the stated intervals that hold the truth; nan when none was stated."""
        return self.held[name] / self.told[name] if self.told[name] else float("nan")

    def share_silent(self, name: str) -> float:
        """Share of all trials that are silently wrong in this."""
        return self.silent[name] / self.made

    def share_refused(self) -> float:
        """Share of all trials that were refused."""
        return self.refused / self.made
