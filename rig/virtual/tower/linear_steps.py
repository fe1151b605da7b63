"""Exact steps of a linear system at step lengths halved again and again.

Between changes of mode the tower is linear, so a step of any length is one matrix. Kept for
1 ms and every halving down to about 1 ns, they also find events: an event inside a step is
reached by descending the ladder.
"""

import numpy as np
import numpy.typing as npt

TOP_S = 1e-3
LEVELS = 21
STEPS_S = tuple(TOP_S / 2**level for level in range(LEVELS))

Rung = tuple[float, ...]
"""24 numbers: change of x, v, y, w for each of x, v, y, w, push, 1 (row after row)."""

Matrix = npt.NDArray[np.float64]


def ladder(system: Matrix) -> list[Rung]:
    """Rungs of `z' = system z` with `z = (x, v, y, w, push, 1)`, longest first.

    Each rung holds `exp(system h) - 1`: doubling that difference (`2 D + D D`) keeps its
    relative accuracy, where squaring the exponential itself would round the small part away.
    """
    scaled = system * STEPS_S[-1]
    term = difference = scaled
    for order in range(2, 9):
        term = term @ scaled / order
        difference = difference + term
    rungs = []
    for _ in range(LEVELS):
        rungs.append(tuple(difference[:4].ravel().tolist()))
        difference = 2 * difference + difference @ difference
    return rungs[::-1]
