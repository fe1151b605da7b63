"""The person at the jig does what procedures say, at a person's speed, and sees what is there."""

import math
from typing import Any

import numpy as np
import pytest

from rig.virtual.arm.draw import blade_tip
from rig.virtual.arm.plant import Jig
from rig.virtual.arm.truth import Failure, JigTruth
from rig.virtual.person import Person
from rig.virtual.tower.plant import Tower


class Bench:
    """Tower, jig and person in one time."""

    def __init__(self, seed: int = 3, truth: JigTruth | None = None) -> None:
        self.tower, self.jig = Tower(seed=seed), Jig(truth, seed)
        self.person = Person(self.tower, seed, self.jig)

    def pass_s(self, seconds: float) -> None:
        now = self.tower.now_s + seconds
        self.tower.advance(now)
        self.jig.advance(now)

    def do(self, hand: str, **detail: Any) -> float:
        took = self.person.act(hand, detail)
        assert took >= 0
        self.pass_s(took)
        return took

    @property
    def torque(self) -> float:
        return float(self.jig.torque_nm(self.jig.now_s))

    @property
    def angle_deg(self) -> float:
        return math.degrees(float(self.jig.angle_rad(self.jig.now_s)))


JIG_WORDS: dict[str, dict[str, Any]] = {
    "hang": {"mass_kg": 1.0, "side": "left"},
    "unhang": {},
    "free": {},
    "stop": {"angle_deg": 15.0},
    "sweep": {"to_deg": 45.0},
    "seat": {"specimen": "A1", "depth_m": 0.006},
    "preload": {"torque_nm": 0.3},
    "pry": {"side": "right"},
    "unload": {},
    "set_edge": {"specimen": "A1", "length_m": 0.02},
    "twist": {"amplitude_deg": 8.0, "cycles": 5, "rate_deg_s": 8.0},
}


@pytest.mark.parametrize("word", JIG_WORDS)
def test_without_a_jig_its_words_are_unknown(word: str) -> None:
    with pytest.raises(ValueError, match=f"cannot '{word}'"):
        Person(Tower()).act(word, JIG_WORDS[word])


def test_without_a_jig_there_is_nothing_to_look_at() -> None:
    for look in ("tip", "edge_after_twist"):
        with pytest.raises(ValueError, match="no jig"):
            getattr(Person(Tower()), look)()


def test_every_word_is_done_in_the_time_that_was_told() -> None:
    bench = Bench()
    for word, detail in JIG_WORDS.items():
        if word == "set_edge":
            bench.do("free")
        bench.do(word, **detail)
        assert bench.jig.quiet_until_s == math.inf, word


def test_a_calibration_pulls_and_turns_as_told() -> None:
    bench = Bench()
    bench.do("hang", mass_kg=2.0, side="left")
    assert bench.torque == pytest.approx(-bench.jig.nature.hung_nm(2.0))
    bench.do("unhang")
    assert bench.torque == 0.0
    bench.do("stop", angle_deg=-30.0)
    assert bench.angle_deg == pytest.approx(-30.0)
    bench.do("free")
    assert (bench.angle_deg, bench.torque) == (0.0, 0.0)


def test_the_carriage_is_set_on_a_mark_of_the_rule_by_eye() -> None:
    found = []
    for seed in range(30):
        bench = Bench(seed)
        bench.do("rule", mark_m=0.4)
        found.append(bench.tower.height_m - 0.4)
    assert 0.05e-3 < np.std(found) < 0.2e-3
    assert abs(np.mean(found)) < 0.06e-3


def test_a_sweep_passes_the_mark_and_comes_back() -> None:
    bench = Bench()
    took = bench.person.act("sweep", {"to_deg": -45.0})
    t = np.arange(0.0, took, 0.01)
    angle = np.degrees(bench.jig.angle_rad(t))
    assert -46.5 < angle.min() < -45.0
    assert angle[-1] == pytest.approx(0.0, abs=0.01)
    assert np.abs(np.gradient(angle, 0.01)).max() < 1.4 * 5.0


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_pull_takes_five_to_ten_seconds_to_failure(side: str) -> None:
    for n in range(6):
        bench = Bench(seed=n)
        bench.do("seat", specimen=f"A{n}", depth_m=0.006)
        bench.do("pry", side=side)
        record = bench.jig.truth[0]
        assert record.kind is Failure.SNAP
        assert record.sign == (1 if side == "right" else -1)
        assert record.preload_nm == 0.05
        assert 5.0 < record.ended_s - record.began_s < 10.0
        assert bench.person.tip() == {"tip": "snapped"}
        bench.do("unload")
        assert bench.torque == 0.0


def test_a_rate_that_is_asked_for_is_kept_within_fifteen_percent() -> None:
    rates = []
    for n in range(20):
        bench = Bench(seed=n)
        bench.do("seat", specimen="A1", depth_m=0.006)
        bench.do("preload", torque_nm=0.3)
        bench.do("pry", rate_deg_s=4.0)
        record = bench.jig.truth[0]
        span_s = record.ended_s - record.began_s
        rates.append(math.degrees(record.angle_at_peak_rad) / span_s)
    assert 4.0 * 0.75 < min(rates) < max(rates) < 4.0 * 1.15
    assert np.ptp(rates) > 0.3


def test_a_blade_is_the_same_whenever_it_is_named_and_softer_wood_gives_more() -> None:
    peaks, stiffnesses = [], []
    for block in ("hardwood", "hardwood", "softwood"):
        bench = Bench()
        bench.do("seat", specimen="B4", depth_m=0.006, block=block)
        bench.do("pry", side="right")
        peaks.append(bench.jig.truth[0].peak_nm)
        stiffnesses.append(bench.jig.truth[0].stiffness_nm_per_rad)
    assert len(set(peaks)) == 1 == len(set(stiffnesses[:2]))
    assert peaks[0] == blade_tip("B4", 0.006, 3).fails_nm
    assert stiffnesses[2] < 0.9 * stiffnesses[0]


def test_a_pull_ends_at_the_angle_limit_and_a_bent_tip_is_seen() -> None:
    bench = Bench()
    bench.do("seat", specimen="C1", depth_m=0.006)
    bench.do("pry", side="right")
    assert 45.0 < bench.angle_deg < 46.5
    assert bench.person.tip() == {"tip": "bent"}


def test_a_pull_that_is_stopped_leaves_the_tip_as_it_was_then() -> None:
    bench = Bench()
    bench.do("seat", specimen="A1", depth_m=0.006)
    took = bench.person.act("pry", {"side": "right"})
    planned = bench.jig.truth[0]
    assert planned.kind is Failure.SNAP
    bench.pass_s(planned.began_s + 2.0 - bench.jig.now_s)
    seen_nm = bench.torque
    t = np.arange(bench.jig.now_s - 1.5, bench.jig.now_s, 0.01)
    ratio = bench.jig.bridge_ratio(t)
    assert bench.person.act("unload", {}) < took
    assert (bench.jig.bridge_ratio(t) == ratio).all(), "what was is not undone"
    (record,) = bench.jig.truth
    assert record.kind is Failure.SURVIVE
    assert seen_nm < record.peak_nm < planned.peak_nm
    reaction = bench.jig.nature.hand.reaction_s
    assert record.ended_s == pytest.approx(bench.jig.now_s + reaction, abs=2e-3)
    bench.pass_s(20.0)
    assert bench.person.tip() == {"tip": "whole"}
    bench.do("pry", side="right")
    assert bench.jig.truth[1].peak_nm == planned.peak_nm, "the tip can still be broken"


def test_a_pull_that_has_ended_is_not_stopped_again() -> None:
    bench = Bench()
    bench.do("seat", specimen="A1", depth_m=0.006)
    bench.do("pry", side="right")
    record = bench.jig.truth[0]
    bench.do("unload")
    assert bench.jig.truth == [record]


def test_a_twisted_edge_is_seen_with_its_damage_and_more_cycles_do_more() -> None:
    looks = []
    for cycles in (1, 5, 60):
        bench = Bench()
        bench.do("set_edge", specimen="A1", length_m=0.02)
        bench.do("twist", amplitude_deg=9.0, cycles=cycles, rate_deg_s=10.0)
        assert len(bench.jig.twists[0].work_j) == cycles
        looks.append(bench.person.edge_after_twist())
    assert [look["damage"] for look in looks] == ["none", "roll", "crack"]
    widths = [float(look["width"].split()[0]) for look in looks]
    assert widths == sorted(widths) and 0 < widths[1] < widths[2] <= 20.0


def test_a_twist_is_turned_at_about_the_rate_asked_for() -> None:
    bench = Bench()
    bench.do("set_edge", specimen="A1", length_m=0.02)
    took = bench.person.act("twist", {"amplitude_deg": 8.0, "cycles": 5, "rate_deg_s": 8.0})
    assert took == pytest.approx(5 * 4 * 8.0 / 8.0, rel=0.18)
