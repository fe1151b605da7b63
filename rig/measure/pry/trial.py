"""One trial put together: motion, fall, loading, straight part, onset, set, and its kind by rule.

Kinds:

- *snap*: half of the peak lost at once, and not held again;
- *slip*: a loss, and torque again at the same stiffness: clamp or block gave way, not the tip;
- *bend*: past the onset of bending without a snap, and a set remains (when it was let back);
- *survived*: a limit was reached without any of these;
- *stopped*: let back before a limit was reached and before it failed;
- *unclear*: a partial loss that neither broke nor held again.

A tip may soften before it snaps: its peak is then the largest torque, and the torque at the break
stands beside it. It may crack, or slip a little, and be held again before it snaps: torques are
what it carried, its angle is left out. Only a snap's peak is a failure torque, and a bend's when
the torque had come to its plateau. All others are bounds: the specimen held at least so much
(`censored` is "right").
"""

import math
from dataclasses import dataclass

import numpy as np

from rig.measure.arm.facts import ArmRecord, Asked, Limits, PryFacts
from rig.measure.arm.motion import Array, Motion
from rig.measure.arm.scatter import slope, smooth
from rig.measure.pry.course import Fall, find_break, find_fall
from rig.measure.pry.loading import Loading, loading
from rig.measure.pry.straight import Onset, Straight, straight_and_onset

SET_SHARE = 0.5  # of the onset offset: less is not a set
NEAR_ANGLE_RAD = np.radians(0.5)
NEAR_TORQUE = 0.98
PLATEAU_SHARE = 0.05  # of the stiffness: a torque that rises less than that has come to its plateau
PASSED_SHARE = 0.01  # a largest torque was passed when so much was lost while the arm went on
WENT_ON_RAD = np.radians(0.4)
TAIL_SHARE = 0.1  # of the turn, for the slope at its end
BOUNDS = ("survived", "stopped", "slip", "unclear")


@dataclass(frozen=True)
class Pried:
    """Everything found in a motion.

    Attributes:
        made: the motion.
        loaded: from the pre-load point to the end.
        fall: None without one.
        line, onset: None when the curve does not show them.
        set_rad: arm angle at pre-load after minus before; None when it was not let back.
        kind: see the module.
        passed: the end is a largest torque that was passed (or a break).
        rising: the torque still rose where the turn ended.
        most: the loading to the largest torque where that was passed before the break; None where
            the end is it.
        before: a fall from which the torque rose again before it snapped; None without one.
    """

    made: Motion
    loaded: Loading
    fall: Fall | None
    line: Straight | None
    onset: Onset | None
    set_rad: float | None
    kind: str
    passed: bool
    rising: bool
    most: Loading | None = None
    before: Fall | None = None

    @property
    def censored(self) -> str:
        """ "right" when the peak is only a bound."""
        return "right" if self.kind in BOUNDS or (self.kind == "bend" and self.rising) else ""


def trial(record: ArmRecord, made: Motion, facts: PryFacts, asked: Asked) -> Pried | None:
    """The trial in a motion; None when the specimen was never loaded from below the pre-load."""
    limits = facts.limits
    if made.net_nm.max() < limits.preload_nm:
        return None
    softens = facts.rule >= SOFTENING
    fall = find_fall(made, limits.preload_nm, limits.stop_rad, through=softens)
    last = _largest(made, fall)
    broke = find_break(made, fall, softens) if fall is not None else None
    loaded = loading(made, limits.preload_nm, last, broke)
    if loaded is None:
        return None
    angle, net = _turned(made, loaded)
    line, onset = straight_and_onset(
        angle, net, loaded.peak_nm, limits.preload_nm, limits.onset_offset_rad
    )
    left = None if fall is not None else _set_rad(made, loaded, limits)
    passed, rising = broke is not None, False
    if broke is None:
        passed = _passed(made, loaded)
        rising = not passed and line is not None and _still_rising(angle, net, line)
    kind = _kind(made, fall, onset, left, limits, asked)
    before = fall.before if fall is not None else None
    most = _passed_before(made, loaded, before, limits) if softens else None
    return Pried(made, loaded, fall, line, onset, left, kind, passed, rising, most, before)


SOFTENING = 2
"""From this rule on (`PryFacts.rule`) a tip may soften or crack before it breaks."""
CLEARLY = 3.0  # standard uncertainties by which the largest torque lies above that at the break


def _passed_before(
    made: Motion, loaded: Loading, before: Fall | None, limits: Limits
) -> Loading | None:
    """The loading to the largest torque, where that came before the break."""
    if loaded.broke is None:
        return None
    at = loaded.first + int(np.argmax(smooth(made.net_nm[: loaded.last + 1])[loaded.first :]))
    tops = [loading(made, limits.preload_nm, at, None)]
    if before is not None:
        tops.append(loading(made, limits.preload_nm, before.top, find_break(made, before)))
    clear = [
        top for top in tops if top is not None and top.peak_nm - loaded.peak_nm
        > CLEARLY * math.hypot(top.end.u_nm, loaded.end.u_nm)
    ]  # fmt: skip
    return max(clear, key=lambda top: top.peak_nm, default=None)


def _largest(made: Motion, fall: Fall | None) -> int:
    if fall is not None:
        return fall.top
    return int(np.argmax(smooth(made.net_nm)))


def _turned(made: Motion, loaded: Loading) -> tuple[Array, Array]:
    """Angle and torque from the pre-load point to the break, or to the furthest angle."""
    if loaded.broke is not None:
        return loaded.whole()
    furthest = loaded.first + int(np.argmax(made.angle_rad[loaded.first :]))
    to = slice(loaded.first, max(furthest, loaded.last) + 1)
    return made.angle_rad[to], made.net_nm[to]


def _set_rad(made: Motion, loaded: Loading, limits: Limits) -> float | None:
    """Angle at the pre-load torque on the way back, less that on the way up."""
    net, angle = made.net_nm, made.angle_rad
    after = np.flatnonzero(net[loaded.last :] <= limits.preload_nm)
    if not after.size or after[0] == 0:
        return None
    at = loaded.last + int(after[0])
    part = (net[at - 1] - limits.preload_nm) / (net[at - 1] - net[at])
    back = float(angle[at - 1] + part * (angle[at] - angle[at - 1]))
    return back - loaded.start_rad


def _passed(made: Motion, loaded: Loading) -> bool:
    """Did the torque fall after its largest value while the arm went on?"""
    furthest = float(made.angle_rad.max())
    if furthest - loaded.end.angle_rad < WENT_ON_RAD:
        return False
    to = int(np.argmax(made.angle_rad >= furthest - WENT_ON_RAD / 2))
    lost = made.net_nm[loaded.last : to + 1] < (1 - PASSED_SHARE) * loaded.peak_nm
    return bool(lost.any())


def _still_rising(angle: Array, net: Array, line: Straight) -> bool:
    turn = float(np.ptp(angle))
    tail = angle >= angle.max() - TAIL_SHARE * turn
    if tail.sum() < 3 or np.ptp(angle[tail]) <= 0:
        return False
    return slope(angle[tail], net[tail]) > PLATEAU_SHARE * line.slope


def _kind(
    made: Motion,
    fall: Fall | None,
    onset: Onset | None,
    left: float | None,
    limits: Limits,
    asked: Asked,
) -> str:
    if fall is not None:
        return "snap" if fall.snap else "slip" if fall.again else "unclear"
    if onset is not None and (left is None or left > SET_SHARE * limits.onset_offset_rad):
        return "bend"
    reached = (
        asked.ended in ("angle_limit", "torque_limit")
        or made.angle_rad.max() >= limits.angle_limit_rad - NEAR_ANGLE_RAD
        or max(made.net_nm.max(), made.raw_nm.max()) >= NEAR_TORQUE * limits.torque_limit_nm
    )
    return "survived" if reached else "stopped"
