"""Raw frames and settings of the arm -> stored result: no-load sweep, pry and twist."""

import math
from collections.abc import Mapping
from typing import Any

from rig.bench import Cell, PryJig, TwistJig
from rig.board.samples import Capture, capture
from rig.measure.arm.facts import (
    ArmRecord,
    Asked,
    Limits,
    PryFacts,
    Section,
    arm_record,
    zero_code,
)
from rig.measure.arm.motion import Motion, motion
from rig.measure.arm.no_load import no_load_sweep
from rig.measure.arm.sweep import Sweep
from rig.measure.budget import Input
from rig.measure.pry.evaluate import evaluate_pry
from rig.measure.scales import Scale
from rig.measure.twist.evaluate import evaluate_twist
from rig.measure.twist.rows import TwistFacts, TwistLimits

Settings = Mapping[str, Any]


def sweep(raw: bytes, settings: Settings) -> dict[str, Any]:
    """The arm alone. Settings: `jig`, `scales`, `zero`."""
    jig = PryJig.model_validate(settings["jig"])
    torque, angle = scales(settings)
    return no_load_sweep(record(raw, settings), torque, angle, jig.pry.sweep_scatter_nm)


def pry(raw: bytes, settings: Settings) -> dict[str, Any]:
    """One pry.

    Settings: `jig`, `cell`, `scales`, `zero`, `zero_after`, `sweep`, `section`, `side`, `ended`,
    `time_base`, `at_rad` (angle whose torque is told; None or missing: of none), `rule`.
    """
    asked = Asked(
        direction=-1 if settings["side"] == "left" else 1,
        section=_section(settings["section"]),
        ended=settings["ended"],
        at_rad=settings.get("at_rad"),  # not asked of runs of earlier versions
    )
    return evaluate_pry(record(raw, settings), facts(settings), asked).to_dict()


def pry_curve(seen: Capture, settings: Settings) -> Motion | None:
    """Torque of the tip and angle of the arm, positive to the side pulled to."""
    direction = -1 if settings["side"] == "left" else 1
    return motion(arm_record(seen, zero_code(settings["zero"])), facts(settings), direction)


def twist_curve(seen: Capture, settings: Settings) -> Motion | None:
    """Torque of the edge and angle of the arm, positive to the right."""
    return motion(arm_record(seen, zero_code(settings["zero"])), twist_facts(settings), 1)


def twist(raw: bytes, settings: Settings) -> dict[str, Any]:
    """One twist trial.

    Settings: `jig`, `twist`, `scales`, `zero`, `zero_after`, `sweep`, `cycles`, `time_base`.
    """
    return evaluate_twist(
        record(raw, settings), twist_facts(settings), settings["cycles"]
    ).to_dict()


def twist_facts(settings: Settings) -> TwistFacts:
    """The jig, its certificates and the twist's limits."""
    jig, own = PryJig.model_validate(settings["jig"]), TwistJig.model_validate(settings["twist"])
    torque, angle = scales(settings)
    limits = own.twist
    return TwistFacts(
        torque=torque,
        angle=angle,
        sweep=Sweep.from_dict(settings["sweep"]),
        u_align_rad=math.radians(jig.arm.u_align_deg),
        time_base=_clock(settings),
        limits=TwistLimits(
            amplitude_rad=math.radians(limits.amplitude_deg),
            overshoot_rad=math.radians(limits.overshoot_deg),
            rate_low_rad_s=math.radians(limits.rate_low_deg_s),
            rate_high_rad_s=math.radians(limits.rate_high_deg_s),
            drift_limit_share=limits.drift_limit_share,
        ),
    )


def _clock(settings: Settings) -> Input:
    base = settings["time_base"]
    return Input(
        "time_base", base["factor"], base["u"], math.inf, base["source"], "s/s", "rectangular"
    )


def scales(settings: Settings) -> tuple[Scale, Scale]:
    """Torque and angle."""
    told = settings["scales"]
    return Scale.from_dict(told["load"]), Scale.from_dict(told["angle"])


def record(raw: bytes, settings: Settings) -> ArmRecord:
    """The recorded motion with its zero readings."""
    after = settings.get("zero_after")
    return arm_record(
        capture(raw),
        zero_code(settings["zero"]),
        None if after is None else zero_code(after, "zero_after"),
        bridge=bool(settings.get("bridge_spikes")),
    )


def facts(settings: Settings) -> PryFacts:
    """The jig, its certificates and its limits."""
    jig = PryJig.model_validate(settings["jig"])
    cell = Cell.model_validate(settings["cell"])
    torque, angle = scales(settings)
    return PryFacts(
        torque=torque,
        angle=angle,
        sweep=Sweep.from_dict(settings["sweep"]),
        free_m=Input(
            "free", jig.arm.free_m, jig.arm.u_free_m, math.inf, "stated by the bench", "m"
        ),
        u_align_rad=math.radians(jig.arm.u_align_deg),
        time_base=_clock(settings),
        limits=limits(jig, cell, torque),
        rule=int(settings.get("rule", 1)),  # runs of earlier versions have none
    )


def torque_limit_nm(jig: PryJig, cell: Cell, torque: Scale) -> float:
    """Where a pry ends whatever the tip does: the cell's share, or the certificate's end."""
    return min(jig.pry.capacity_share * cell.capacity_n * jig.arm.length_m, torque.high)


def limits(jig: PryJig, cell: Cell, torque: Scale) -> Limits:
    """The bench's limits of a pry, SI."""
    pry = jig.pry
    return Limits(
        preload_nm=pry.preload_nm,
        onset_offset_rad=math.radians(pry.onset_offset_deg),
        rate_low_rad_s=math.radians(pry.rate_low_deg_s),
        rate_high_rad_s=math.radians(pry.rate_high_deg_s),
        ramp_low_s=pry.ramp_low_s,
        ramp_high_s=pry.ramp_high_s,
        torque_limit_nm=torque_limit_nm(jig, cell, torque),
        angle_limit_rad=math.radians(pry.angle_limit_deg),
        stop_rad=math.radians(jig.arm.stop_deg),
        drift_limit_share=pry.drift_limit_share,
        under_read_limit_share=pry.under_read_limit_share,
    )


def _section(told: Settings) -> Section:
    u = told["u_section_m"]
    source = "entered before the test"
    return Section(
        *(
            Input(name, told[f"{key}_m"], u, math.inf, source, "m")
            for name, key in (
                ("thickness", "thickness"),
                ("width", "width"),
                ("from_axis", "section_at"),
            )
        )
    )
