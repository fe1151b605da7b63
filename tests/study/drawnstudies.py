"""Whole studies drawn at random, in logbooks: groups, loads, days, lost blades, sizes, truths."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from rig.study.answers.answer import Answer
from rig.study.answers.whole import unsealed
from tests.study.books import StudyBook, begin, record, response

Rng = np.random.Generator
PATTERNS = ("one", "own", "alone", "shared", "some", "unknown")


def loads_of(rng: Rng, groups: Mapping[str, int]) -> dict[str, str]:
    """Blade -> furnace load, in one of the ways a shop does it."""
    pattern, many = rng.choice(PATTERNS), int(rng.integers(2, 5))
    named = {}
    for group, count in groups.items():
        for i in range(count):
            named[f"{group}{i + 1}"] = {
                "one": "L", "own": f"{group}{i % many}", "alone": group, "shared": f"L{i % many}",
                "some": f"L{(i + ord(group)) % (many + 1)}", "unknown": "unknown",
            }[pattern]  # fmt: skip
    return named


def answered(rng: Rng, path: Path) -> list[Answer]:
    """The answers of one study: pry (some tips survive, now and then), twist, hardness, impact
    damage and edge lives (some edges still sharp at the end, or dull at the first probe)."""
    groups = {name: int(rng.integers(2, 7)) for name in "ABCD"[: rng.integers(2, 5)]}
    ratios = ("pry_torque", "twist_torque", "edge_life")
    sizes = {name: float(rng.choice([1.1, 1.3, 1.6])) for name in ratios}
    sizes |= {"hardness": float(rng.choice([0.5, 1.0])), "impact_damage": 0.1}
    asked = [
        response(name, smallest=size, margin=float(rng.choice([size, (size + (size > 1)) / 2])))
        for name, size in sizes.items()
    ]
    control = "A" if rng.random() < 0.7 else None
    blocks = ["all"] if rng.random() < 0.5 else ["day 1", "day 2"]
    made = begin(path, record(groups, asked, control, loads_of(rng, groups), blocks=blocks))
    _tested(rng, made, groups)
    made.unseal()
    made.book.close()
    return unsealed(path).answers


def _tested(rng: Rng, made: StudyBook, groups: Mapping[str, int]) -> None:
    truth = {name: float(rng.choice([0.0, 0.0, 0.1, -0.3, 0.8])) for name in groups}
    scatter = {name: float(rng.choice([0.02, 0.1, 0.3])) for name in groups}
    tip = float(rng.choice([math.inf, math.inf, 9.0, 14.0]))
    probes = [round(100 * 1.15**i) for i in range(*rng.choice([(0, 30), (0, 9), (6, 30)]))]
    days = {trial.block: 0.1 * rng.standard_normal() for trial in made.order.trials}
    day = {trial.code: days[trial.block] for trial in made.order.trials}
    with made.book.transaction():
        for blade, code in made.code.items():
            if rng.random() < 0.08:
                continue
            group = blade[0]
            x = truth[group] + day[code] + scatter[group] * rng.standard_normal()
            torque = round(10 * float(np.exp(x)), 2)
            made.pry(blade, min(torque, tip), censored="right" if torque > tip else "")
            _probed(made, blade, 300 * float(np.exp(x)), probes)
            made.trial(blade, "edge_twist", {"peak_torque": (3 * float(np.exp(-x / 2)), 0.02)})
            made.trial(blade, "hardness", {"hardness": (round(2 * (60 + 3 * x)) / 2, 0.3)})
            damage = {"kind": "roll", "depth_m": max(0.0, 1e-5 * round(40 + 30 * x)), "u_m": 2e-5}
            made.trial(blade, "drop_impact", {}, damage=damage)


def _probed(made: StudyBook, blade: str, cuts: float, probes: Sequence[int]) -> None:
    """A life as its probes tell it."""
    passed = [at for at in probes if at <= cuts]
    failed = [at for at in probes if at > cuts]
    made.life(blade, passed[-1] if passed else 0, failed[0] if failed else None)
