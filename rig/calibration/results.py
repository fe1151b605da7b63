"""What all calibrations give back when they give no certificate, and numbers as JSON holds them."""

import math
from collections.abc import Sequence
from typing import Any

from rig.measure.budget import Reason


def refused(found: Sequence[Reason]) -> dict[str, Any]:
    """A result without a certificate, and why."""
    told = [vars(reason).copy() for reason in found]
    return {"measurands": {}, "reasons": told, "figures": {}, "certificate": None}


def finite(dof: float) -> float | None:
    """Degrees of freedom for JSON: unlimited ones become null."""
    return None if math.isinf(dof) else dof
