"""The guided pry on the virtual rig: every kind of end, and what may go wrong on the way."""

import hashlib
import math
from pathlib import Path

import pandas as pd
import pytest

from rig import bench as benches
from rig.errors import RigError
from rig.guide.recompute import recompute
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.report.tables import export
from tests.guide.jigs import TIPS, JigRig


@pytest.mark.parametrize("kind", TIPS)
def test_each_kind_of_end_is_told_with_a_torque_that_holds_the_truth(
    tmp_path: Path, kind: str
) -> None:
    rig = JigRig(TIPS[kind])
    path, told = rig.run(tmp_path, "pry_to_failure")
    trial, truth = told["trials"][0], rig.jig.truth[-1]
    assert trial["kind"] == kind
    assert trial["valid"] is (kind != "slip"), trial["reasons"]
    assert trial["censored"] == ("" if kind in ("snap", "bend") else "right")
    assert trial["indication"], "without certificates it is an indication only"
    if kind != "slip":
        assert abs(trial["peak_torque_nm"] - truth.peak_nm) <= trial["peak_torque_U_nm"]
    assert audit(path) == []
    assert all(one.same for one in recompute(path))


def test_a_survivor_goes_on_to_the_harder_block_and_a_broken_tip_does_not(tmp_path: Path) -> None:
    blocks = "softwood,hardwood"
    _, told = JigRig(TIPS["survived"]).run(tmp_path, "pry_to_failure", schedule=blocks)
    assert [trial["block"] for trial in told["trials"]] == ["softwood", "hardwood"]
    (tmp_path / "two").mkdir()
    _, told = JigRig(TIPS["snap"]).run(tmp_path / "two", "pry_to_failure", schedule=blocks)
    assert [trial["block"] for trial in told["trials"]] == ["softwood"]


def test_the_other_side_is_pried_as_well(tmp_path: Path) -> None:
    rig = JigRig(TIPS["snap"])
    _, told = rig.run(tmp_path, "pry_to_failure", side="left")
    trial, truth = told["trials"][0], rig.jig.truth[-1]
    assert trial["valid"] and truth.sign == -1
    assert abs(trial["peak_torque_nm"] - truth.peak_nm) <= trial["peak_torque_U_nm"]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("load_missing", "no readings"),
        ("load_stuck_low", "no readings"),
        ("load_unplugged", "at its limit or unplugged"),
        ("load_ten_per_second", "10 times a second"),
    ],
)
def test_no_tip_is_pried_on_a_cell_that_does_not_read(
    tmp_path: Path, fault: str, words: str
) -> None:
    told: list[str] = []

    def break_it(rig: JigRig, text: str) -> None:
        told.append(text)
        if text.startswith("K3 in hardwood: at PULL"):
            rig.board.fault(fault, 1)

    rig = JigRig(TIPS["snap"], hook=break_it)
    with pytest.raises(RigError, match=words):
        rig.run(tmp_path, "pry_to_failure")
    assert any(text.startswith("Not yet:") and words in text for text in told)
    assert rig.jig.truth == [], "the tip is whole"


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("load_missing", "no readings for a while"),
        ("load_unplugged", "pulled too fast"),
        ("load_ten_per_second", "ms apart"),
    ],
)
def test_a_fault_of_the_load_cell_in_mid_pry_is_a_reason_and_never_a_torque(
    tmp_path: Path, fault: str, words: str
) -> None:
    def break_it(rig: JigRig, text: str) -> None:
        if text.startswith("PULL NOW: to the right"):
            at = rig.tower.now_s + 5.0
            rig.tower.schedule(at, lambda: rig.board.fault(fault, 1))
        if "Let the arm back slowly" in text:
            rig.board.fault(fault, 0)

    _, told = JigRig(TIPS["snap"], hook=break_it).run(tmp_path, "pry_to_failure")
    trial = told["trials"][0]
    assert not trial["valid"]
    assert any(words in reason for reason in trial["reasons"]), trial["reasons"]


def test_a_cell_plugged_in_reversed_is_named(tmp_path: Path) -> None:
    def turn(rig: JigRig, text: str) -> None:
        if text.startswith("Gloves on: the"):
            rig.board.fault("load_reversed", 1)

    _, told = JigRig(TIPS["snap"], hook=turn).run(tmp_path, "pry_to_failure")
    assert any("reversed" in reason for reason in told["trials"][0]["reasons"])


def test_a_cell_that_is_dead_from_the_start_is_asked_for_again_and_costs_nothing(
    tmp_path: Path,
) -> None:
    def dead(rig: JigRig, text: str) -> None:
        if text.startswith("Check: lever level"):
            rig.board.fault("load_missing", 1)

    rig = JigRig(TIPS["snap"], hook=dead)
    with pytest.raises(RigError, match="reading"):
        rig.run(tmp_path, "pry_to_failure", {"again": ["again", "stop"]})
    with Logbook.open(tmp_path / "jig.logbook", writable=False) as book:
        assert len(book.raw_ids()) >= 2, "the readings that do not count are kept"


def test_a_cell_on_the_carriage_cannot_pry(tmp_path: Path) -> None:
    rig = JigRig(TIPS["snap"])
    cell = rig.bench.cell.model_copy(update={"mounted": "carriage"})
    rig.bench = rig.bench.model_copy(update={"cell": cell})
    with pytest.raises(RigError, match="mounted on the carriage"):
        rig.run(tmp_path, "pry_to_failure")


@pytest.mark.parametrize("given", [{"schedule": ""}, {"schedule": "oak,oak"}, {"side": "up"}])
def test_settings_that_make_no_sense_are_refused_before_anything_moves(
    tmp_path: Path, given: dict[str, str]
) -> None:
    with pytest.raises(RigError):
        JigRig(TIPS["snap"]).run(tmp_path, "pry_to_failure", **given)


def test_a_photograph_must_be_there_and_is_kept_with_what_tells_it_from_another(
    tmp_path: Path,
) -> None:
    picture, told = tmp_path / "the tip.jpg", list[str]()
    picture.write_bytes(b"a snapped tip")
    rig = JigRig(TIPS["snap"], hook=lambda _, text: told.append(text))
    typed = [str(tmp_path / "no.jpg"), str(tmp_path), "x" * 5000, "a\0b", f"'{picture}'"]
    path, _ = rig.run(tmp_path, "pry_to_failure", {"photo": typed}, photo="yes")
    refused = [text for text in told if text.endswith("type its path, or none")]
    assert ["no such file" in refused[0], "is a folder" in refused[1]] == [True, True]
    assert len(refused) == 4
    with Logbook.open(path, writable=False) as book:
        (look,) = [row.body for row in book.journal(kind="look")]
    assert look["photo"] == str(picture)
    assert look["photo_sha256"] == hashlib.sha256(b"a snapped tip").hexdigest()


def test_the_look_at_the_tip_is_asked_for_before_its_torque_is_shown(tmp_path: Path) -> None:
    shown: list[str] = []
    rig = JigRig(TIPS["snap"], hook=lambda _, text: shown.append(text))
    rig.run(tmp_path, "pry_to_failure", photo="yes")
    (asked,) = [at for at, text in enumerate(shown) if text.startswith("Photograph of the")]
    (told,) = [at for at, text in enumerate(shown) if "snap, peak" in text]
    assert asked < told


def test_the_torque_at_an_asked_angle_is_told_and_lies_on_the_exported_curve(
    tmp_path: Path,
) -> None:
    path, told = JigRig(TIPS["bend"]).run(tmp_path, "pry_to_failure", at_angle="5 deg")
    (trial,) = told["trials"]
    with Logbook.open(path, writable=False) as book:
        (stored,) = book.results(trial=trial["trial"])[-1:]
    at = stored.result["measurands"]["torque_at_angle"]
    export(path, tmp_path / "tables")
    curve = pd.read_csv(tmp_path / "tables" / "curves.csv")
    assert set(curve.trial) == {trial["trial"]} and set(curve.rig) == {"virtual"}
    assert abs(curve.torque_nm.max() - trial["peak_torque_nm"]) < trial["peak_torque_U_nm"]
    rising = curve[: curve.torque_nm.idxmax() + 1]
    preload_nm = benches.load(None).pry.pry.preload_nm
    start_rad = rising[rising.torque_nm < preload_nm].angle_rad.iloc[-1]
    there = rising[rising.angle_rad >= start_rad + math.radians(5)].torque_nm.iloc[0]
    assert abs(at["value"] - there) < at["U"]


def test_an_angle_beyond_the_arm_s_reach_is_refused_before_anything_is_begun(
    tmp_path: Path,
) -> None:
    with pytest.raises(RigError, match="not on the way"):
        JigRig(TIPS["bend"]).run(tmp_path, "pry_to_failure", at_angle="60 deg")
