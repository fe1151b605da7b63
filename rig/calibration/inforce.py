"""Which scale holds for a channel in this run, and what its certificate lacks."""

from dataclasses import dataclass

from rig.bench import Bench
from rig.calibration.certificate import from_dict
from rig.calibration.nominal import nominal_angle, nominal_load
from rig.measure.scales import Scale

_NOMINAL = {"load": nominal_load, "angle": nominal_angle}


@dataclass(frozen=True)
class InForce:
    """A scale, and why results by it are no more than an indication (empty: they count)."""

    scale: Scale
    against: tuple[str, ...]


def in_force(bench: Bench, channel: str) -> InForce:
    """The certificate's scale where it holds, else the makers' figures with the reasons.

    `bench.certificates` was filled when the run began (`rig.cli.guided`), so that a resumed run
    goes on with what held then.
    """
    found = bench.certificates.get(channel, {"certificate": None, "against": []})
    if found["certificate"] is None:
        return InForce(_NOMINAL[channel](bench), (f"there is no {channel} certificate",))
    against = tuple(found["against"])
    scale = _NOMINAL[channel](bench) if against else from_dict(found["certificate"]).scale()
    return InForce(scale, against)
