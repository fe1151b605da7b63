"""What a study can compare: each response, where in the logbook it stands, and its usual scale."""

from dataclasses import dataclass

from rig.guide.kinds import ON_SPECIMEN, require_whole
from rig.study.statistics.data import LESS, LINEAR, LOG, MORE, NEITHER
from rig.study.statistics.life_scatter import USUAL_CV


@dataclass(frozen=True)
class ResponseKind:
    """One response that a study may ask for.

    Attributes:
        name: as written in the study file.
        title: as people read it.
        of: kind of measurand that its trials measure; with it come procedure, minutes and media.
        measurand: of the trial's result; "" when it stands in the verdict under `field`.
        field: key of the trial's verdict or entry; "" for a measurand.
        unit: as people read and write it; `factor` brings the SI value of a result into it.
        scale: "log" (compared as ratios) or "linear" (as differences).
        censored: a survivor gives a bound, which only censored methods may use.
        usual: scatter of blades alike where nobody knows better (a share on the log scale, else in
            `unit`); common practice, no source.
        better: which way a blade is better in it: `MORE`, `LESS`, or `NEITHER` where that is a
            matter of the blade's use.
    """

    name: str
    title: str
    of: str
    unit: str
    measurand: str = ""
    field: str = ""
    scale: str = LOG
    censored: bool = False
    factor: float = 1.0
    usual: float = 0.15
    better: str = MORE

    @property
    def procedure(self) -> str:
        """Whose trials it comes from."""
        return ON_SPECIMEN[self.of].procedure

    @property
    def minutes(self) -> float:
        """One trial takes about so long."""
        return ON_SPECIMEN[self.of].minutes

    @property
    def destroys(self) -> bool:
        """Whether the blade is not the same afterwards."""
        return ON_SPECIMEN[self.of].destroys

    @property
    def media(self) -> str:
        """What one trial uses up."""
        return ON_SPECIMEN[self.of].media


KINDS: dict[str, ResponseKind] = {
    kind.name: kind
    for kind in (
        ResponseKind("hardness", "hardness", "hardness", "HRC", measurand="hardness", scale=LINEAR,
             usual=0.5, better=NEITHER),
        ResponseKind("starting_sharpness", "starting sharpness", "sharpness", "N",
             measurand="severing_force", usual=0.15, better=LESS),
        ResponseKind("edge_life", "edge life", "edge_life", "cuts", field="life", censored=True,
             usual=USUAL_CV),
        ResponseKind("twist_torque", "largest torque of the twist", "twist", "N.m",
             measurand="peak_torque", usual=0.15),
        ResponseKind("twist_decay", "torque of the last twist over the first", "twist", "1",
             measurand="torque_ratio", usual=0.1),
        ResponseKind("impact_damage", "depth of the damage after impact", "drop", "mm",
             field="damage_depth_m", scale=LINEAR, factor=1e3, usual=0.1, better=LESS),
        ResponseKind("energy_not_returned", "energy not returned by the impact", "drop", "J",
             measurand="energy_not_returned", usual=0.05, better=NEITHER),  # rod, frame and a chip
        # take of it, and a blade that bends and springs back gives some: no way is better by itself
        ResponseKind("staircase_energy", "impact energy at which half of the sites fail",
             "staircase", "J", measurand="failure_energy", censored=True, 
             usual=0.2),
        ResponseKind("pry_torque", "pry torque to failure", "pry", "N.m",
             measurand="peak_torque", censored=True, usual=0.15),
        ResponseKind("pry_index", "pry index 6 M/(b t²)", "pry", "MPa",
             measurand="index", censored=True, factor=1e-6, usual=0.15),
        ResponseKind("pry_energy", "pry energy to failure", "pry", "J",
             measurand="energy_to_failure", censored=True, usual=0.25),
    )
}  # fmt: skip
"""In the order in which a blade goes through them: first what leaves the blade as it was, then the
edge, then what breaks it."""

require_whole({kind.of for kind in KINDS.values()}, "response of a study")
