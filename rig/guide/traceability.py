"""What a run's numbers rest on: its certificates, and what makes them an indication only."""

from dataclasses import dataclass

from rig.bench import Bench
from rig.calibration.certificate import CHANNELS, Certificate, from_dict
from rig.calibration.inforce import lacking
from rig.measure.budget import Reason

RESTS_ON: dict[str, tuple[str, ...]] = {
    "drop": ("height",),
    "staircase": ("height",),
    "pry": ("load", "angle"),
    "twist": ("load", "angle"),
    "no_load_sweep": ("load", "angle"),
    "hardness": (),
    "edge_life": (),
    "sharpness": (),
}
"""The channels whose scales enter a measurand."""
ON_THE_TOWER = {"drop", "staircase"}


@dataclass(frozen=True)
class Held:
    """A channel's certificate as the run found it when it began; `against` it what it lacks."""

    channel: str
    certificate: Certificate | None
    against: tuple[str, ...]


def certificates(bench: Bench, kind: str) -> list[Held]:
    """The channels that results of a kind rest on; all of them for a kind that is not known."""
    return [_held(bench, channel) for channel in RESTS_ON.get(kind, CHANNELS)]


def _held(bench: Bench, channel: str) -> Held:
    kept = (bench.certificates.get(channel) or {}).get("certificate")
    return Held(channel, None if kept is None else from_dict(kept), lacking(bench, channel))


def lacks(bench: Bench, measurand: str) -> tuple[Reason, ...]:
    """Why a number of this bench is no more than an indication; empty when it counts."""
    carriage = bench.tower.carriage.against if measurand in ON_THE_TOWER else ()
    return (
        *(Reason("carriage_not_weighed", why) for why in carriage),
        *(
            Reason(f"{channel}_certificate", why)
            for channel in RESTS_ON.get(measurand, ())
            for why in lacking(bench, channel)
        ),
    )
