"""The virtual rig is drawn about what the bench states."""

import math
import statistics
from pathlib import Path

import pytest

from rig import bench as benches
from rig.bench import Bench
from rig.board.wire import Kind
from rig.calibration.nominal import LARGEST_SUM, nominal_angle
from rig.measure.gravity import normal_gravity
from rig.session.devices import virtual_device
from rig.session.virtual_truth import jig_nominal, tower_nominal
from rig.virtual.arm.plant import Jig

BENCH = benches.load(None)


def drawn(seed: int, bench: Bench = BENCH) -> Jig:
    jig = virtual_device(bench, seed)[2].jig
    assert jig is not None
    return jig


def test_the_true_jig_lies_about_the_benchs_own() -> None:
    jigs = [drawn(seed).nature for seed in range(12)]
    stated = BENCH.pry
    arms = [jig.calibration_arm_m - stated.arm.calibration_m for jig in jigs]
    assert 0.3 < statistics.stdev(arms) / stated.arm.u_calibration_m < 2.0
    capacity_nm = BENCH.cell.capacity_n * stated.arm.length_m
    for jig in jigs:
        assert jig.cell.capacity_nm == capacity_nm
        at_capacity = BENCH.cell.sensitivity_mv_v / 1e3
        assert jig.cell.right * capacity_nm == pytest.approx(at_capacity, rel=0.0103)
        assert jig.stop_rad == pytest.approx(math.radians(stated.arm.stop_deg))
        weighed = {grams for grams, _ in jig.mass_errors}
        assert weighed >= {round(1000 * mass) for mass in stated.calibration.masses_kg}
        assert jig.cell.zero != 0.0


def test_the_same_seed_is_the_same_rig_and_another_is_another() -> None:
    assert drawn(5).nature == drawn(5).nature != drawn(6).nature


def test_tower_and_jig_stand_in_the_same_gravity_which_is_the_sites(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text('name = "high"\n[site]\nlatitude_deg = 0\nelevation_m = 3000\n[tower]\n')
    bench = benches.load(file)
    _, tower, person = virtual_device(bench, 1)
    assert person.jig is not None
    assert person.jig.nature.gravity == tower.nature.gravity
    believed = tower_nominal(bench).belief.gravity
    assert believed == normal_gravity(0, 3000)
    assert tower.nature.gravity == pytest.approx(believed, abs=0.003)


def test_a_sensor_of_another_span_turns_its_output_over_that_span(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text(
        'name = "wide"\n[tower]\n[pry.angle]\nspan_deg = 180\nlow_share = 0.2\nhigh_share = 0.7\n'
    )
    jig = Jig(jig_nominal(benches.load(file), 9.81).belief)
    for degrees, share in ((-45, 0.325), (0, 0.45), (45, 0.575)):
        end = jig.hold_at_stop(math.radians(degrees))
        assert float(jig.angle_ratio(end)) == pytest.approx(share, abs=0.5 * 0.002)


def test_a_sensor_that_falls_to_the_right_is_believed_to_fall(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text('name = "f"\n[tower]\n[pry.angle]\nlow_share = 0.9\nhigh_share = 0.1\n')
    bench = benches.load(file)
    jig = Jig(jig_nominal(bench, 9.81).belief)
    end = jig.hold_at_stop(math.radians(30))
    share = float(jig.angle_ratio(end))
    assert share == pytest.approx(0.3, abs=0.01)
    assert float(nominal_angle(bench).value(share * LARGEST_SUM)) == pytest.approx(
        math.radians(30), abs=0.03
    )


def test_the_virtual_device_streams_all_three_channels() -> None:
    device, _, person = virtual_device(BENCH, 2)
    for kind in (Kind.LOAD, Kind.ANGLE):
        device.link.stream(kind, True)
    device.act("hang", {"mass_kg": 1.0, "side": "right"})
    device.link.wait(0.5)
    assert set(device.link.latest) == {Kind.HEIGHT, Kind.LOAD, Kind.ANGLE}
    assert person.jig is not None
    cell = person.jig.nature.cell
    wanted = cell.zero + cell.right * person.jig.nature.hung_nm(1.0)
    found = device.link.latest[Kind.LOAD][1] / (256 * 2**23)
    assert found == pytest.approx(wanted, abs=6e-4 * cell.full_scale)
