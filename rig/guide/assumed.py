"""What a staircase's uncertainty is worth where the scatter of its sites was assumed."""

from collections.abc import Mapping
from typing import Any

TOO_NARROW = (
    "± may be too narrow: the scatter of the sites was not found from so few drops but assumed. "
    "About 95 of 100 such intervals hold the truth only if the sites scatter about one step; 80 to "
    "87 if twice as much, 65 to 73 if four times (simulated, 10 to 19 drops)"
)
"""From procedures/staircase_impact.md, which says how the step is chosen."""
USUAL = 20  # drops from which on the scatter is found from the drops themselves


def too_narrow(result: Mapping[str, Any]) -> str:
    """What is to be said beside the ± of a staircase's result; "" when it stands for itself.

    Args:
        result: of the measurand "staircase", as stored. A bound has no ±.
    """
    figures = result["figures"]
    if not figures or result["censored"] or "failure_energy" not in result["measurands"]:
        return ""
    found = figures["drops"] >= USUAL and figures["sd_j"] is not None
    return "" if found else TOO_NARROW
