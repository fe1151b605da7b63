"""What the three calibrations share: who, and how a calibration ends."""

from collections.abc import Mapping, Sequence
from typing import Any

from procedures.lib import verdicts
from rig.guide.steps import Ask, Measure, Note, Passage, Tell

NOTE, REFUSED = "certificate", "calibration_refused"


class Stopped(Exception):
    """The calibration cannot go on; `reasons` say why, in words."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__("; ".join(reasons))
        self.reasons = list(reasons)


def operator(params: Mapping[str, Any]) -> Passage[str]:
    """Who calibrates."""
    if params["operator"]:
        return str(params["operator"])
    answer = yield Ask("Who calibrates? Your initials", key="operator")
    return str(answer["value"])


def issue(channel: str, settings: Mapping[str, Any]) -> Passage[dict[str, Any]]:
    """Compute the certificate from the readings and note it, or say why there is none."""
    result = yield Measure(
        f"Certificate of the {channel} channel", measurand=f"{channel}_calibration",
        trial=f"{channel} calibration", raw_id=None, settings=settings,
    )  # fmt: skip
    draft = result["certificate"]
    if draft is None:
        return (yield from refuse(channel, verdicts.reasons(result)))
    yield Tell(draft["sentence"])
    body = {**draft, "result_id": result["result_id"]}
    yield Note(f"Certificate of the {channel} channel", kind=NOTE, body=body)
    return {"channel": channel, "certificate": body, "reasons": []}


def refuse(channel: str, reasons: Sequence[str]) -> Passage[dict[str, Any]]:
    """No certificate; every reading stays on record."""
    yield Tell(f"No certificate: {'; '.join(reasons)}.")
    body = {"channel": channel, "reasons": list(reasons)}
    yield Note("Why there is no certificate", kind=REFUSED, body=body)
    return {"channel": channel, "certificate": None, "reasons": list(reasons)}
