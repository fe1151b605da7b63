"""Which scales hold in this run, and what their certificates lack."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from rig.bench import Bench
from rig.calibration.certificate import CHANNELS, Certificate, from_dict, standing
from rig.calibration.nominal import nominal_angle, nominal_load
from rig.measure.scales import Scale

_NOMINAL = {"load": nominal_load, "angle": nominal_angle}


@dataclass(frozen=True)
class InForce:
    """A scale, and why results by it are no more than an indication (empty: they count)."""

    scale: Scale
    against: tuple[str, ...]


def certified(bench: Bench, found: Mapping[str, Certificate], now: datetime) -> Bench:
    """The bench as a run begins, with the certificates that hold for it.

    They are kept with the run, so that a resumed run goes on with what held when it began. A
    height certificate that holds takes the place of the scale that the bench file states.
    """
    told: dict[str, Any] = {}
    for channel in CHANNELS:
        one = found.get(channel)
        against = [reason.text for reason in standing(one, channel, bench, now)]
        kept = None if one is None else one.to_dict()
        told[channel] = {"certificate": kept, "against": against}
    bench = bench.model_copy(update={"certificates": told})
    if told["height"]["against"]:
        return bench
    scale = found["height"].scale()
    count_m = scale.right[1]
    wire = bench.tower.wire.model_copy(
        update={
            "count_m": count_m,
            "u_count_relative": scale.u_relative,
            "source": scale.source,
        }
    )
    return bench.model_copy(update={"tower": bench.tower.model_copy(update={"wire": wire})})


def lacking(bench: Bench, channel: str) -> tuple[str, ...]:
    """Why results that rest on a channel are an indication only; empty when they count."""
    found = bench.certificates.get(channel)
    if found is None:
        return (f"there is no {channel} certificate; make one: bladerig calibrate {channel}",)
    return tuple(found["against"])


def in_force(bench: Bench, channel: str) -> InForce:
    """The certificate's scale where it holds, else the makers' figures with the reasons."""
    against = lacking(bench, channel)
    if against:
        return InForce(_NOMINAL[channel](bench), against)
    return InForce(from_dict(bench.certificates[channel]["certificate"]).scale(), ())
