"""One pry trial: from its record to torque, angle, energy, kind of failure, and reasons."""

from dataclasses import dataclass

from rig.measure.arm.checks import record_reasons, spike_figures
from rig.measure.arm.facts import ArmRecord, Asked, PryFacts
from rig.measure.arm.motion import SOONER, motion
from rig.measure.budget import Reason
from rig.measure.pry.checks import (
    mean_rate,
    motion_reasons,
    ramp_s,
    trial_reasons,
    under_read,
)
from rig.measure.pry.trial import SOFTENING, Pried, trial
from rig.measure.pry.values import measurands
from rig.measure.result import Result


@dataclass(frozen=True)
class PryResult(Result):
    """What a pry gave.

    Attributes:
        measurands: by name: peak_torque, break_torque (of a snap), stiffness, onset_torque (when
            bent), failure_angle and energy_to_failure (when a failure was passed, and nothing had
            cracked or slipped before), set_angle (when let back), torque_at_angle (when asked
            for), bending_moment and index (with a section).
        reasons: why the trial is not valid; empty when it is.
        figures: further numbers of the evaluation, by name, SI.
        kind: "snap", "bend", "slip", "survived", "stopped", "unclear"; "" when nothing was loaded.
        censored: "right" when peak_torque is a bound ("at least") and no failure torque, else "".
    """

    kind: str = ""
    censored: str = ""


UNSEEN = "no rise from below the pre-load was recorded: begin with the arm at rest"


def evaluate_pry(record: ArmRecord, facts: PryFacts, asked: Asked | None = None) -> PryResult:
    """Everything one pry tells.

    The same record, facts and request always give the same result.
    """
    asked = asked or Asked()
    reasons = record_reasons(record)
    made = motion(record, facts, asked.direction, SOONER if facts.rule >= SOFTENING else 0.0)
    if made is None:
        text = "the record is too short"
        return PryResult(reasons=(*reasons, Reason("record_short", text)))
    reasons += motion_reasons(made, record, facts, asked)
    if any(reason.name == "angle_stuck" for reason in reasons):
        return PryResult(reasons=reasons)
    found = trial(record, made, facts, asked)
    if found is None:
        return PryResult(reasons=reasons or (Reason("loaded_before", UNSEEN),))
    values = measurands(found, record, facts, asked)
    reasons += trial_reasons(found, record, facts, values)
    bound = any(reason.name == "saturated" for reason in reasons)
    return PryResult(
        values,
        reasons,
        _figures(found, facts) | spike_figures(record),
        found.kind,
        "right" if bound else found.censored,
    )


def _figures(found: Pried, facts: PryFacts) -> dict[str, float]:
    """Numbers a report shows beside the measurands."""
    loaded = found.loaded
    figures = {
        "ramp_s": ramp_s(found, facts),
        "mean_rate_rad_s": mean_rate(found, facts),
        "end_rate_rad_s": loaded.end_rate,
        "under_read_share": under_read(found),
        "load_period_s": found.made.period_s * facts.time_base.value,
        "largest_sample_nm": float(found.made.net_nm[: loaded.last + 1].max()),
        "furthest_rad": float(found.made.angle_rad.max()) - loaded.start_rad,
    }
    if found.line is not None:
        figures["scatter_nm"] = found.line.scatter
        figures["straight_low_nm"] = found.line.low_nm
        figures["straight_high_nm"] = found.line.high_nm
    if found.fall is not None:
        figures["fall_share"] = found.fall.share
    return figures
