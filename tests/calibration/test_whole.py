"""Whole calibrations through the stand-in board: bytes, logbook, certificate, recompute."""

import math
import random
from pathlib import Path

import pytest

from rig.calibration.nominal import CODES_PER_RATIO, LARGEST_SUM
from rig.guide.recompute import recompute
from rig.logbook.audit import audit
from rig.logbook.certificates import find
from rig.logbook.store import Logbook
from rig.measure.budget import coverage_factor
from rig.measure.scales import Scale
from rig.report import certificate
from rig.virtual.arm.draw import draw_jig
from rig.virtual.arm.plant import Jig
from rig.virtual.arm.trail import sensed
from tests.calibration.coverage import nominal
from tests.calibration.rigs import CalibrationRig
from tests.calibration.settings import BENCH

WEIGHTS = "0.5 kg, 2 kg, 5 kg, 10 kg"


def drawn(seed: int = 11) -> Jig:
    return Jig(draw_jig(random.Random(seed), nominal()), seed=seed)


def book(folder: Path) -> Logbook:
    return Logbook.create(folder / "calibration.logbook", title="calibrations")


def test_a_load_calibration_gives_torques_within_their_uncertainty(tmp_path: Path) -> None:
    jig = drawn()
    with book(tmp_path) as open_book:
        told = CalibrationRig(jig).calibrate(open_book, "load", weights=WEIGHTS)
        run = open_book.runs()[-1].run_id
        path = open_book.path
    assert told["reasons"] == []
    found = find([path], BENCH, virtual=True)["load"]
    scale, cell = found.scale(), jig.nature.cell
    for torque in (3.0, 12.0, 28.0):
        for sign, slope in ((1, cell.right), (-1, cell.left)):
            read = float(scale.value(sign * torque * slope * CODES_PER_RATIO))
            u = math.hypot(scale.u_relative * torque, scale.u_absolute)
            # the cell's bow and hysteresis are left out of this code: 3 U, not U
            assert abs(read - sign * torque) <= 3 * coverage_factor(scale.dof) * u
    assert audit(path) == []
    assert all(one.same for one in recompute(path))
    assert found.sentence in certificate.write(path, run).read_text(encoding="utf-8")


def test_an_angle_calibration_gives_angles_within_their_uncertainty(tmp_path: Path) -> None:
    jig = drawn()
    with book(tmp_path) as open_book:
        told = CalibrationRig(jig).calibrate(open_book, "angle")
    scale = Scale.from_dict(told["certificate"]["curve"])
    for angle in (-0.6, -0.1, 0.4, 0.7):
        share = float(sensed(jig.nature.sensor, angle))  # type: ignore[arg-type]
        error = float(scale.value(LARGEST_SUM * share)) - angle
        assert abs(error) <= 2 * coverage_factor(scale.dof) * scale.u_absolute


def test_a_height_calibration_finds_the_pitch_within_its_uncertainty(tmp_path: Path) -> None:
    rig = CalibrationRig(drawn())
    with book(tmp_path) as open_book:
        told = rig.calibrate(open_book, "height", marks="60 mm, 200 mm, 400 mm, 600 mm, 800 mm")
        (result,) = open_book.results(trial="height calibration")
    assert told["reasons"] == []
    count = result.result["measurands"]["count_length"]
    assert abs(count["value"] - rig.tower.nature.pitch_m) <= 2 * count["U"]


def test_pounds_hung_as_kilograms_are_told_after_one_run(tmp_path: Path) -> None:
    rig = CalibrationRig(drawn(), ratio=0.45359237)
    with book(tmp_path) as open_book:
        told = rig.calibrate(open_book, "load", weights=WEIGHTS)
        kept = len(open_book.raw_ids())
    assert told["certificate"] is None and "kg or lb?" in told["reasons"][0]
    assert kept >= 9


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("load_reversed", "swap the load cell's two signal wires"),
        ("load_missing", "no readings from the load cell's converter"),
        ("load_unplugged", "its converter is saturated"),
    ],
)
def test_a_faulty_cell_is_told_and_gives_no_certificate(
    tmp_path: Path, fault: str, words: str
) -> None:
    rig = CalibrationRig(drawn())
    rig.board.fault(fault)
    with book(tmp_path) as open_book:
        told = rig.calibrate(open_book, "load", {"again": ["stop"]}, weights=WEIGHTS)
    assert told["certificate"] is None
    assert any(words in text for text in rig.texts)


def test_a_cable_pulled_in_the_middle_costs_nothing(tmp_path: Path) -> None:
    pulled: list[str] = []

    def pull(rig: CalibrationRig, text: str) -> None:
        if text.startswith("Pin at 15°") and not pulled:
            pulled.append(text)
            rig.board.fault("unplugged")
        if "Waiting for it" in text:
            rig.board.fault("unplugged", 0)

    with book(tmp_path) as open_book:
        told = CalibrationRig(drawn(), hook=pull).calibrate(open_book, "angle")
    assert pulled and told["reasons"] == []


def test_a_calibration_killed_in_the_middle_goes_on_from_there(tmp_path: Path) -> None:
    def kill(rig: CalibrationRig, text: str) -> None:
        if text.startswith("Run 2"):
            raise KeyboardInterrupt

    jig = drawn()
    with book(tmp_path) as open_book:
        with pytest.raises(KeyboardInterrupt):
            CalibrationRig(jig, hook=kill).calibrate(open_book, "angle")
        kept = len(open_book.raw_ids())
        again = CalibrationRig(drawn())
        told = again.resume(open_book, "angle")
        total = len(open_book.raw_ids())
    stops = 2 * len(BENCH.pry.calibration.stops_deg) - 1
    assert (kept, total) == (stops, 2 * stops) and told["reasons"] == []
