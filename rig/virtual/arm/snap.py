"""The arm running on when the tip under it has snapped."""

import math
from typing import NamedTuple

import numpy as np

from rig.virtual.arm.path import Path, grid
from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.truth import JigTruth

LASTS_S = 0.6


class Jump(NamedTuple):
    """The arm's path, and what is left of the pull that broke the tip (1 falls to 0)."""

    path: Path
    pull: Floats


def jump(nature: JigTruth, angle: float, rate: float, lost_nm: float) -> Jump:
    """Arm on the hand's spring and dashpot, set free by a loss of torque; signed values.

    Closed form of `I x'' + c x' + k x = lost` from rest. The hook only pulls: where it would push
    it is slack. The hand goes on at `rate` for its reaction time; the solid stop ends it all.
    """
    hand = nature.hand
    t = grid(LASTS_S)
    natural = math.sqrt(hand.stiffness_nm_per_rad / nature.inertia_kg_m2)
    decay = hand.damping * natural
    ringing = math.sqrt(natural**2 - decay**2)
    fading = np.exp(-decay * t)
    moved = 1 - fading * (np.cos(ringing * t) + decay / ringing * np.sin(ringing * t))
    speed = fading * natural**2 / ringing * np.sin(ringing * t)
    on = rate * np.minimum(t, hand.reaction_s)
    free = angle + on + lost_nm / hand.stiffness_nm_per_rad * moved
    pull = np.maximum(0.0, 1 - moved - 2 * decay / natural**2 * speed)
    return Jump(Path(t, np.clip(free, -nature.stop_rad, nature.stop_rad)), pull)
