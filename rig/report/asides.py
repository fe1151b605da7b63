"""What happened beside the plan of a run, in words."""

from collections.abc import Mapping
from typing import Any

from rig.board.wire import Reason
from rig.guide.reasons import TEXT
from rig.guide.runner import INTERRUPTED, RESUMED

NOT_RECORDED = "not recorded"
KINDS = {INTERRUPTED, RESUMED, "line", "permit_ended", "tower_changed", "check_out"}


def told(kind: str, body: Mapping[str, Any]) -> str:
    """One line for a row of the journal, or for a release without a record."""
    if kind == INTERRUPTED:
        return f"the run stopped: {body['why']}"
    if kind == RESUMED:
        return f"the run went on, {body['at_step']} steps done before"
    if kind == "line":
        return f"the line to the board: {body['what']}"
    if kind == "permit_ended":
        return f"a release was not made: {_reason(str(body['reason']))}"
    if kind == "tower_changed":
        change = f"{100 * body['change']:+.1f} %"
        return f"the tower's acceleration changed by {change}; the reason given: {body['reason']}"
    if kind == "check_out":
        return f"the check of the load cell: {body['text']}; the reason given: {body['reason']}"
    return f"{body['trial']}: permitted, and nobody recorded whether the carriage fell"


def _reason(name: str) -> str:
    return TEXT[Reason[name]] if name in Reason.__members__ else name
