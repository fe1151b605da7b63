"""The demonstration's blind study: three tempers, toughness differs and edge life does not.

The scenario is invented. Blades go through the same commands as real ones: a study file, codes,
random order, certificates, every procedure on the virtual rig, unsealing, report.
"""

import random
import zlib
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from rig.cli.demoparts import MEDIA, PROBES, SECTION
from rig.virtual.arm.draw import Group

if TYPE_CHECKING:
    from rig.session.rehearsal import Rehearsal
    from rig.study.register.kept import Planned
    from rig.study.register.record import StudyRecord

BLADES = 6
# Every group dulls alike; the second is tougher by half, the third as tough as the control.
TRUTH: Mapping[str, Group] = {
    "one temper": Group(),
    "two tempers": Group(strength_pa=4.5e9, toughness_j=9.0),
    "cool temper": Group(strength_pa=2.9e9, toughness_j=4.8),
}
STEEL = "plain carbon, about 1 %"
HARDNESS_HRC, HARDNESS_SD, READING_SD, BLOCK_HRC = 60.6, 0.25, 0.25, 60.0


def record() -> dict[str, Any]:
    """The study file, as tables."""
    tempers = {"one temper": (1, "400 F"), "two tempers": (2, "400 F"), "cool temper": (1, "375 F")}
    groups = [
        {
            "name": name,
            "control": name == "one temper",
            "steel": STEEL,
            "treatment": [
                {"what": "austenitise", "temperature": "1475 F", "hold": "10 min"},
                {"what": "quench", "medium": "fast oil"},
                *[{"what": "temper", "temperature": at, "hold": "2 h"}] * count,
            ],
        }
        for name, (count, at) in tempers.items()
    ]
    blades = [
        {
            "name": f"{name.split()[0]} {number}",
            "group": name,
            "angle_deg": round(15.0 + 0.3 * (_chance(name, number, "angle") - 0.5), 2),
            "thickness": f"{0.30 + 0.02 * (_chance(name, number, 'edge') - 0.5):.3f} mm",
            "tip_thickness": "1.2 mm",
            "finish": "400 grit",
            "batch": "one bar",
            "load": "one quench",
        }
        for name in TRUTH
        for number in range(1, BLADES + 1)
    ]
    return {
        "title": "Does a second temper pay?",
        "question": "Do two tempers, or a cooler one, change how blades break and how they cut?",
        "primary": "pry_torque",
        "hours_a_day": 8.0,
        "group": groups,
        "blade": blades,
        "response": [
            {"name": "pry_torque", "smallest": 1.3, "margin": 1.15, "scatter": 0.12},
            {"name": "hardness", "smallest": 1.0, "margin": 1.0, "scatter": 0.4, "parity": True},
            {"name": "edge_life", "smallest": 1.5, "margin": 1.3, "scatter": 0.15},
            {"name": "twist_torque", "smallest": 1.3, "margin": 1.2, "scatter": 0.1},
            {"name": "impact_damage", "smallest": 0.2, "margin": 0.1, "scatter": 0.08},
        ],
        "settings": {"cuts_to_dull": dict(PROBES), "drop_impact": {"energy": "5 J"}},
    }


def _chance(name: str, number: int, what: str) -> float:
    return random.Random(zlib.crc32(f"{name} {number} {what}".encode())).random()


def group_behind(blade: str) -> Group:
    """The true properties of a blade of this study."""
    return next(group for name, group in TRUTH.items() if name.split()[0] == blade.split()[0])


def readings(blade: str, seed: int) -> dict[str, list[str]]:
    """What the tester shows: block, blade, block."""
    chance = random.Random(zlib.crc32(f"{blade} hardness {seed}".encode()))
    true = chance.gauss(HARDNESS_HRC, HARDNESS_SD)

    def five(about: float, sd: float) -> list[str]:
        return [f"{round(2 * chance.gauss(about, sd)) / 2:g}" for _ in range(5)]

    return {
        "block_hrc": [f"{BLOCK_HRC:g}"],
        "block_before": five(BLOCK_HRC + 0.3, 0.15),
        "block_after": five(BLOCK_HRC + 0.3, 0.15),
        "blade": five(true + 0.3, READING_SD),
        "thickness": ["3 mm"],
    }


def run(rig: "Rehearsal", say: Callable[[str], None]) -> dict[str, Any]:
    """The whole study into the rig's logbook, unsealed at its end."""
    from rig import tables
    from rig.study.register import dealing, kept
    from rig.study.register.record import StudyRecord

    study = tables.validate(StudyRecord, record(), "", "demonstration")
    kept.enter(rig.book, study)
    # The demonstration is the same every time, so even its secret is: a true study draws its own.
    order = dealing.deal(rig.book, rig.seed, secret=f"demonstration {rig.seed}")
    rig.label(order.key())
    for trial in order.trials:
        say(f"  trial {trial.place} of {len(order.trials)}: {trial.procedure} on {trial.code}")
        _trial(rig, trial, study)
    kept.unseal(rig.book, "all planned trials are made")
    return {"trials": len(order.trials), "seal": order.sealed.digest}


def _trial(rig: "Rehearsal", trial: "Planned", study: "StudyRecord") -> None:
    from rig.study.register import conditions

    given = {"specimen": trial.code, **conditions.stated(study, trial.procedure)}
    answers = dict(_answers(rig, trial))
    rig.run(trial.procedure, lambda _: None, answers, **given)


def _answers(rig: "Rehearsal", trial: "Planned") -> Iterator[tuple[str, list[str]]]:
    blade = rig.key[trial.code]
    if trial.procedure == "hardness":
        yield from readings(blade, rig.seed).items()
    if trial.procedure == "pry_to_failure":
        yield from SECTION.items()
    if trial.procedure == "cuts_to_dull":
        yield from MEDIA.items()
