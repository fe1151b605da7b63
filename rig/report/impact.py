"""The page's section on drop-weight impact."""

from rig.report import figures
from rig.report.gather import MeasuredTrial
from rig.report.sections import ONE_BLADE, Section, damage, stated

WORDS = {
    "impact_energy": "impact energy",
    "impact_speed": "impact speed",
    "nominal_energy": "nominal energy m g h (for comparison only)",
    "release_height": "release height",
    "fall_acceleration": "acceleration of the fall at contact",
    "gate_speed": "impact speed by the light gate (a check)",
    "rebound_speed": "rebound speed",
    "rebound_energy": "rebound energy",
    "restitution": "restitution",
    "energy_not_returned": "energy not returned (upper bound of what the edge took)",
    "second_strike_speed": "speed of the second strike",
    "second_strike_energy": "energy of the second strike",
    "total_energy": "energy of all strikes together",
}


def _second(trial: MeasuredTrial) -> str:
    otherwise = "none: caught" if trial.result["caught"] else "none seen"
    if "rise_unlike_fall" in trial.result["figures"]:
        otherwise = "not stated: the rise was no free flight (bench, reel)"
    return stated(trial, "second_strike_energy", otherwise)


IMPACT = Section(
    kind="drop",
    columns=("Impact energy", "Second strike", "Damage found"),
    cells=lambda trial: [stated(trial, "impact_energy"), _second(trial), damage(trial)],
    words=WORDS,
    formula="E = ½ m v², v from the fit at contact",
    said=lambda trial: stated(trial, "impact_energy", ""),
    picture=figures.drop,
    limits=(
        "Energy not returned bounds from above what the edge took: the rod and the frame share it.",
        "The drops of a run share their errors (mass, height scale, clock): ± holds for each drop "
        "against the truth, not for one drop against another; those agree better than ± says.",
        "No impact force is reported; this rig does not measure one.",
        "No published standard covers an edge over a soft rod. The numbers compare blades on this "
        "bench, with this rod and this striker.",
        ONE_BLADE,
    ),
)
