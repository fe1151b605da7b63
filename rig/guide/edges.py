"""Settings of a cuts test or of a sharpness probe -> stored result."""

import math
from collections.abc import Mapping
from typing import Any

from rig.measure.life import Probe, StopRule
from rig.measure.life.evaluate import Cutting, Probed, evaluate_edge_life
from rig.measure.severing import Gauge, evaluate_severing

Settings = Mapping[str, Any]


def sharpness(_: bytes, settings: Settings) -> dict[str, Any]:
    """One probe, typed in. Settings: `readings_n`, `gauge`, `grades` (kind: answers)."""
    told: dict[str, Any] = {"measurands": {}, "reasons": [], "figures": {}}
    if settings["readings_n"]:
        told = evaluate_severing(settings["readings_n"], Gauge(**settings["gauge"])).to_dict()
    for kind, answers in settings["grades"].items():
        told["figures"] |= {
            f"{kind}_places": float(len(answers)),
            f"{kind}_passed": float(answers.count("pass")),
        }
    return told


def edge_life(_: bytes, settings: Settings) -> dict[str, Any]:
    """Probes of one edge. Settings: `probes`, `rule`, `cuts`, `rejected`, `forces`, `accepted`."""
    probes = [probed(told) for told in settings["probes"]]
    forces = tuple((float(cuts), float(force)) for cuts, force in settings["forces"])
    cutting = Cutting(settings["cuts"], settings["rejected"], forces)
    rule = StopRule(**settings["rule"])
    told = evaluate_edge_life(probes, rule, cutting, settings["accepted"])
    for one in settings["probes"]:
        told["notes"] += [f"probe at {one['cuts']} cuts: {text}" for text in one["reasons"]]
    return told


def probed(told: Settings) -> Probed:
    """One probe as the procedure keeps it."""
    probe = Probe(told["cuts"], tuple(told["passed"]), told["force_n"])
    return Probed(probe, told["u_n"], math.inf if told["dof"] is None else told["dof"])
