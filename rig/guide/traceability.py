"""What a run's numbers rest on: its certificates, and what makes them an indication only."""

from dataclasses import dataclass

from rig.bench import Bench
from rig.calibration.certificate import CHANNELS, Certificate, from_dict
from rig.calibration.inforce import lacking
from rig.guide.kinds import kind_of
from rig.measure.budget import Reason


@dataclass(frozen=True)
class Held:
    """A channel's certificate as the run found it when it began; `against` it what it lacks."""

    channel: str
    certificate: Certificate | None
    against: tuple[str, ...]


def certificates(bench: Bench, kind: str) -> list[Held]:
    """The channels that results of a kind rest on; all of them when nothing was measured ("")."""
    channels = kind_of(kind).channels if kind else CHANNELS
    return [_held(bench, channel) for channel in channels]


def _held(bench: Bench, channel: str) -> Held:
    kept = (bench.certificates.get(channel) or {}).get("certificate")
    return Held(channel, None if kept is None else from_dict(kept), lacking(bench, channel))


def lacks(bench: Bench, measurand: str) -> tuple[Reason, ...]:
    """Why a number of this bench is no more than an indication; empty when it counts."""
    kind = kind_of(measurand)
    carriage = bench.tower.carriage.against if kind.falls else ()
    return (
        *(Reason("carriage_not_weighed", why) for why in carriage),
        *(
            Reason(f"{channel}_certificate", why)
            for channel in kind.channels
            for why in lacking(bench, channel)
        ),
    )
