"""What rows of a logbook hold: JSON objects that say what they lack."""

import json
from functools import partial
from typing import Any

from rig.errors import RigError


class Held(dict[str, Any]):
    """An object of a row. This program always writes what it asks for; another hand may not."""

    row = ""

    def __missing__(self, key: str) -> Any:
        raise RigError(
            f"does not hold {key!r}, which this program always writes",
            where=self.row,
            remedy="run bladerig audit on this logbook, and take the numbers from a sound copy",
            value=key,
        )

    def less(self, left_out: str) -> "Held":
        """The same without one thing."""
        return _held(self.row, {key: value for key, value in self.items() if key != left_out})


def held(text: str, row: str) -> Any:
    """The JSON text of a row, named `row` in an error."""
    return json.loads(text, object_hook=partial(_held, row))


def _held(row: str, told: dict[str, Any]) -> Held:
    kept = Held(told)
    kept.row = row
    return kept
