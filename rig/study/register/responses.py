"""What a study can compare: each response, where in the logbook it stands, and its usual scale."""

from dataclasses import dataclass

from rig.study.statistics.data import LESS, LINEAR, LOG, MORE, NEITHER
from rig.study.statistics.life_scatter import USUAL_CV


@dataclass(frozen=True)
class Kind:
    """One response that a study may ask for.

    Attributes:
        name: as written in the study file.
        title: as people read it.
        procedure: whose trials it comes from.
        measurand: of the trial's result; "" when it stands in the verdict under `field`.
        field: key of the trial's verdict or entry; "" for a measurand.
        unit: as people read and write it; `factor` brings the SI value of a result into it.
        scale: "log" (compared as ratios) or "linear" (as differences).
        censored: a survivor gives a bound, which only censored methods may use.
        minutes: one trial takes about so long; common practice, no source.
        usual: scatter of blades alike where nobody knows better (a share on the log scale, else in
            `unit`); common practice, no source.
        media: what one trial uses up.
        better: which way a blade is better in it: `MORE`, `LESS`, or `NEITHER` where that is a
            matter of the blade's use.
        destroys: the blade (or its edge or tip) is not the same afterwards.
    """

    name: str
    title: str
    procedure: str
    unit: str
    measurand: str = ""
    field: str = ""
    scale: str = LOG
    censored: bool = False
    minutes: float = 10.0
    destroys: bool = True
    factor: float = 1.0
    usual: float = 0.15
    media: str = ""
    better: str = MORE


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("hardness", "hardness", "hardness", "HRC", measurand="hardness", scale=LINEAR,
             minutes=8, destroys=False, usual=0.5, better=NEITHER),
        Kind("starting_sharpness", "starting sharpness", "sharpness", "N",
             measurand="severing_force", minutes=6, destroys=False, usual=0.15,
             media="fresh thread", better=LESS),
        Kind("edge_life", "edge life", "cuts_to_dull", "cuts", field="life", censored=True,
             minutes=120, usual=USUAL_CV, media="cutting medium for one edge"),
        Kind("twist_torque", "largest torque of the twist", "edge_twist", "N.m",
             measurand="peak_torque", minutes=15, usual=0.15, media="fresh slot in hardwood"),
        Kind("twist_decay", "torque of the last twist over the first", "edge_twist", "1",
             measurand="torque_ratio", minutes=15, usual=0.1, media="fresh slot in hardwood"),
        Kind("impact_damage", "depth of the damage after impact", "drop_impact", "mm",
             field="damage_depth_m", scale=LINEAR, minutes=12, factor=1e3, usual=0.1,
             media="fresh face of the rod", better=LESS),
        Kind("energy_not_returned", "energy not returned by the impact", "drop_impact", "J",
             measurand="energy_not_returned", minutes=12, usual=0.05,
             media="fresh face of the rod", better=LESS),
        Kind("staircase_energy", "impact energy at which half of the sites fail",
             "staircase_impact", "J", measurand="failure_energy", censored=True, minutes=180,
             usual=0.2, media="rod with 20 fresh faces"),
        Kind("pry_torque", "pry torque to failure", "pry_to_failure", "N.m",
             measurand="peak_torque", censored=True, minutes=15, usual=0.15),
        Kind("pry_index", "pry index 6 M/(b t²)", "pry_to_failure", "MPa",
             measurand="index", censored=True, minutes=15, factor=1e-6, usual=0.15),
        Kind("pry_energy", "pry energy to failure", "pry_to_failure", "J",
             measurand="energy_to_failure", censored=True, minutes=15, usual=0.25),
    )
}  # fmt: skip
"""In the order in which a blade goes through them: first what leaves the blade as it was, then the
edge, then what breaks it."""
