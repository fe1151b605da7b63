"""States that follow a target exponentially, whole traces at once."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LARGEST = 200.0  # exp of it is still far from overflow


def relax(start: float, targets: Floats, amounts: Floats) -> Floats:
    """`z += (target - z) (1 - exp(-amount))`, one step for each target; shape (n,).

    With amounts of time over a time constant this is a first-order lag (creep); with amounts of
    travel over a span and targets of +-1 it is rate-independent hysteresis after Dahl
    (from memory: P. Dahl, A solid friction model, 1968).
    """
    total = np.cumsum(amounts)
    if total.size and total[-1] > LARGEST and total.size > 1:
        half = total.size // 2
        first = relax(start, targets[:half], amounts[:half])
        return np.concatenate([first, relax(first[-1], targets[half:], amounts[half:])])
    grown = np.exp(total)
    before = np.concatenate([[1.0], grown[:-1]])
    return (start + np.cumsum(targets * (grown - before))) / grown
