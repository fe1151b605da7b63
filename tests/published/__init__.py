"""Published check values: one JSON file a case (see README.md in this folder)."""

import json
from pathlib import Path
from typing import Any


def load(case: str) -> dict[str, Any]:
    """The published case `case` as a dictionary (inputs, expected, tolerance, source ...)."""
    text = (Path(__file__).parent / f"{case}.json").read_text(encoding="utf-8")
    data: dict[str, Any] = json.loads(text)
    return data
