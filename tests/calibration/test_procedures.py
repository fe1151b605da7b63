"""The guided calibrations: what they ask, what they note, and when they stop."""

import math
from typing import Any

import pytest

from procedures.lib import checks
from rig.calibration.chart import ENOUGH
from rig.calibration.nominal import nominal_load
from rig.errors import RigError
from rig.guide.steps import Read
from rig.measure.scales import Scale
from tests.calibration.coverage import Lab
from tests.calibration.driver import Driver
from tests.calibration.settings import BENCH, reading
from tests.calibration.test_angle import straight

COUNT_M = BENCH.tower.wire.count_m


class Weighing:
    """Readings of the simulated cell under what the steps' hands do."""

    def __init__(self, seed: int = 3, ratio: float = 1.0, sign: float = 1.0) -> None:
        self.lab = Lab(seed)
        self.ratio, self.sign = ratio, sign
        self.hung: list[tuple[float, str]] = []

    def __call__(self, step: Read) -> dict[str, Any]:
        assert step.channel == "load"
        if step.hand == "hang":
            mass, side = float(step.detail["mass_kg"]), str(step.detail["side"])
            self.hung.append((mass, side))
            told = self.lab.hang(mass * self.ratio, side)
        elif step.hand in ("unhang", "free"):
            told = self.lab.hang(0.0, "right")
        else:
            self.lab.wait(step.settle_s)
            told = self.lab.read()
        return {**told, "mean": self.sign * told["mean"]}


def test_a_load_calibration_ends_with_a_certificate_that_is_noted() -> None:
    driver = Driver(Weighing())
    told = driver.run("calibrate_load")
    assert told["reasons"] == []
    ((kind, body),) = driver.notes
    assert kind == "certificate" and body == told["certificate"]
    assert body["sentence"] in driver.texts
    scale = Scale.from_dict(body["curve"])
    lab = Weighing().lab.truth
    true = lab.cell.right * (1 << 31)
    assert float(scale.value(10.0 * true)) == pytest.approx(10.0, abs=0.05)


def test_each_side_is_pulled_three_times_up_and_down_and_once_uncounted() -> None:
    weighing = Weighing()
    Driver(weighing).run("calibrate_load")
    masses = list(BENCH.pry.calibration.masses_kg)
    run = [*masses, *masses[-2::-1]]
    right = [mass for mass, side in weighing.hung if side == "right"]
    left = [mass for mass, side in weighing.hung if side == "left"]
    assert right == [10.0, *run * 3, 10.0] and left == [10.0, *run * 3]


def test_weights_may_be_given_in_any_unit() -> None:
    weighing = Weighing()
    Driver(weighing).run("calibrate_load", weights="1 lb, 2 kg, 5000 g, 9 kg")
    assert weighing.hung[1][0] == pytest.approx(0.45359237)


def test_a_wrong_unit_is_told_after_the_first_run_and_not_after_the_last() -> None:
    weighing = Weighing(ratio=0.45359237)
    driver = Driver(weighing)
    told = driver.run("calibrate_load")
    assert told["certificate"] is None and "kg or lb?" in told["reasons"][0]
    assert len(weighing.hung) == 12
    assert driver.notes[0][0] == "calibration_refused"


def test_reversed_polarity_is_told_after_the_first_run() -> None:
    told = Driver(Weighing(sign=-1.0)).run("calibrate_load")
    assert "swap the load cell's two signal wires" in told["reasons"][0]


def test_a_weight_beyond_the_cell_is_refused_before_anyone_lifts_it() -> None:
    with pytest.raises(RigError, match=r"25 kg gives 73.5 N·m; the cell on this arm bears 60 N·m"):
        Driver(Weighing()).run("calibrate_load", weights="1 kg, 5 kg, 25 kg")


def test_no_cell_is_told_and_the_person_may_stop() -> None:
    why = {"name": "load_missing", "text": "no readings from the load cell's converter"}
    bad = {"mean": None, "sd": None, "n": 0, "reasons": [why]}
    driver = Driver(lambda step: bad, {"again": ["again", "stop"]})
    told = driver.run("calibrate_load")
    assert told["certificate"] is None and "no good reading" in told["reasons"][0]
    assert any("no readings from the load cell" in text for text in driver.texts)


def test_a_bad_reading_is_taken_again() -> None:
    weighing, spoilt = Weighing(), []

    def once(step: Read) -> dict[str, Any]:
        told = weighing(step)
        if len(weighing.hung) == 5 and not spoilt:
            spoilt.append(step.trial)
            return {**told, "reasons": [{"name": "lost_frames", "text": "2 frames lost"}]}
        return told

    assert Driver(once).run("calibrate_load")["reasons"] == [] and spoilt


def test_an_angle_calibration_ends_with_a_certificate() -> None:
    def at(step: Read) -> dict[str, Any]:
        assert step.channel == "angle" and step.hand == "stop"
        return reading(straight(math.radians(float(step.detail["angle_deg"]))), 4.0)

    told = Driver(at).run("calibrate_angle")
    assert told["certificate"]["sentence"].startswith("Good from -45° to 45°")


def test_a_height_calibration_ends_with_a_certificate() -> None:
    def at(step: Read) -> dict[str, Any]:
        assert step.channel == "height" and step.hand == "rule"
        return reading(round(float(step.detail["mark_m"]) / COUNT_M), 0.3)

    told = Driver(at).run("calibrate_height", marks="50 mm, 200 mm, 350 mm, 20 in")
    assert told["certificate"]["sentence"].startswith("One count is 0.25")


def test_marks_beyond_the_travel_are_refused() -> None:
    with pytest.raises(RigError, match="this tower's carriage goes 900 mm"):
        Driver(lambda step: {}).run("calibrate_height", marks="0 mm, 500 mm, 1 m, 2 m")


SCALE = nominal_load(BENCH)


def check(driver: Driver) -> None:
    driver.drive(checks.check_load(BENCH, SCALE, True))  # type: ignore[arg-type]


def hung(torque_nm: float) -> Any:
    per_nm = 1 / SCALE.right[1]
    return lambda step: reading(84_000.0 + (torque_nm * per_nm if step.hand == "hang" else 0.0))


TRUE_NM = 2.942


def earlier(count: int, scatter_nm: float = 0.002, **other: Any) -> list[dict[str, Any]]:
    body = {"bench": BENCH.name, "cell": BENCH.cell.serial, "mass_kg": BENCH.pry.check.mass_kg,
            "out": False, "anew": False, **other}  # fmt: skip
    per_nm = 1 / SCALE.right[1]
    return [
        {**body, "codes": (TRUE_NM + scatter_nm * (-1) ** n) * per_nm, "day": n}
        for n in range(count)
    ]


class Later(Driver):
    """A driver on the next day: what was recalled is not of this session."""

    def _perform(self, step: Any) -> dict[str, Any]:
        told = super()._perform(step)
        if getattr(step, "hours", None) == checks.SESSION_H:
            told = {**told, "found": [row for row in told["found"] if "day" not in row]}
        return told


def test_a_check_in_order_goes_on_and_is_noted() -> None:
    driver = Later(hung(TRUE_NM))
    check(driver)
    ((kind, body),) = driver.notes
    assert kind == checks.CHECK and not body["out"] and body["by"] == "certificate"


def test_one_check_a_session_is_enough() -> None:
    driver = Later(hung(TRUE_NM))
    check(driver)
    check(driver)
    assert len(driver.notes) == 1 and "it holds" in driver.texts[-1]


def test_a_check_out_of_its_chart_goes_no_further_without_a_reason() -> None:
    recalled = {checks.CHECK: earlier(ENOUGH)}
    driver = Later(hung(TRUE_NM + 0.02), {"check_out": ["hook rubbed"]}, recalled)
    check(driver)
    (why, check_note) = driver.notes
    assert why[0] == checks.OUT and why[1]["reason"] == "hook rubbed"
    assert check_note[1]["out"] and check_note[1]["by"] == "chart"


def test_a_check_that_was_out_does_not_widen_the_chart() -> None:
    rows = [*earlier(ENOUGH), *earlier(1, 0.5, out=True)]
    driver = Later(hung(TRUE_NM + 0.02), {"check_out": ["hook rubbed"]}, {checks.CHECK: rows})
    check(driver)
    assert driver.notes[-1][1]["out"]


def test_a_chart_begun_anew_forgets_what_was_before() -> None:
    rows = [*earlier(ENOUGH), *earlier(1, anew=True, out=True)]
    driver = Later(hung(TRUE_NM + 0.02), {"check_out": ["x"]}, {checks.CHECK: rows})
    check(driver)
    assert driver.notes[-1][1]["by"] == "certificate"


def test_checks_of_another_cell_do_not_count() -> None:
    rows = earlier(ENOUGH, cell="cell 2")
    driver = Later(hung(TRUE_NM + 0.02), {}, {checks.CHECK: rows})
    check(driver)
    assert driver.notes[-1][1]["by"] == "certificate"


def test_a_check_without_a_reading_stops_in_one_line() -> None:
    bad = {"mean": None, "sd": None, "n": 0, "reasons": [{"name": "saturated", "text": "x"}]}
    with pytest.raises(RigError, match="no good reading came"):
        check(Later(lambda step: bad, {"again": ["stop"]}))
