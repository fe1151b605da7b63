"""Picture of a calibration: how far each reading lies from the curve, rising and falling."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from rig.report.figures import DARK, FITTED, MARK, STYLE, svg

# channel: (label of values, their factor, label of residuals, their factor)
AXES = {
    "load": ("torque, N·m (left: negative)", 1.0, "reading − curve, mN·m", 1e3),
    "angle": ("angle, °", math.degrees(1.0), "reading − curve, °", math.degrees(1.0)),
    "height": ("mark, mm", 1e3, "reading − line, mm", 1e3),
}


def picture(channel: str, sides: Mapping[str, Mapping[str, Sequence[float]]]) -> tuple[str, str]:
    """The picture as a data address, and its text for those who cannot see it.

    Args:
        channel: "load", "angle" or "height".
        sides: each with `value`, `residual` (known value less curve) and `rising`, shapes (n,).
    """
    along, along_factor, across, factor = AXES[channel]
    value, residual, rising = (
        np.concatenate([np.asarray(side[key], dtype=float) for side in sides.values()])
        for key in ("value", "residual", "rising")
    )
    off = -residual * factor  # a reading that is too high gives a value too high
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 2.9), layout="constrained")
        axes: Any = figure.subplots()
        up = rising > 0
        axes.plot(value[up] * along_factor, off[up], "^", ms=5, color=DARK, label="rising")
        axes.plot(value[~up] * along_factor, off[~up], "v", ms=5, mfc="none", color=FITTED,
                  label="falling")  # fmt: skip
        axes.axhline(0, ls="--", lw=1, color=MARK)
        axes.set_xlabel(along)
        axes.set_ylabel(across)
        axes.legend(loc="lower right", bbox_to_anchor=(1, 1), frameon=False, ncols=2)
        text = (
            f"{len(value)} readings about their curve: the furthest lies "
            f"{float(np.max(np.abs(off))):.2g} {across.rpartition(', ')[2]} off."
        )
        return svg(figure), text
