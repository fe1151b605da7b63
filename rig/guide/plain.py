"""Values as the journal holds them."""

import json
from typing import Any


def plain(value: Any) -> Any:
    """As it will come back from the journal, so that a resumed script sees the very same.

    Raises:
        TypeError, ValueError: it has no exact JSON form (NaN has none).
    """
    return json.loads(json.dumps(value, allow_nan=False))
