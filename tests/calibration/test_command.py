"""`bladerig certificates` and what `bladerig calibrate` refuses, as a user meets them."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from rig.calibration import angle, height
from rig.calibration.load import calibrate
from rig.logbook.store import Logbook
from tests.calibration.settings import BENCH, weights
from tests.calibration.test_angle import stops
from tests.calibration.test_height import rule
from tests.cli.commands import bladerig, told_in_one_line


def noted(
    path: Path, days_ago: float = 0.0, device: str = "port", **changed: Any
) -> dict[str, Any]:
    """A calibration logbook with one load certificate."""
    made = datetime.now(UTC) - timedelta(days=days_ago)
    draft: dict[str, Any] = {**calibrate(weights())["certificate"], "result_id": 1, **changed}
    with Logbook.create(path, title="calibrations", now=lambda: made) as book:
        run = book.start_run("calibrate_load", "0" * 64, {}, {"device": device})
        book.append("certificate", draft, run)
        book.end_run(run, "finished", "end")
    return draft


def listed(folder: Path) -> dict[str, Any]:
    done = bladerig("certificates", "--json", cwd=folder)
    assert done.returncode == 1, done.stderr  # angle and height have none here
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_a_bench_without_certificates_is_told_how_to_make_them(tmp_path: Path) -> None:
    done = bladerig("certificates", cwd=tmp_path)
    assert done.returncode == 1
    told = "load: no certificate yet; make one: bladerig calibrate load"
    assert done.stdout.splitlines()[0] == told
    practice = bladerig("certificates", "--virtual", cwd=tmp_path)
    assert practice.stdout.splitlines()[0] == f"{told} --virtual"


def test_a_certificate_beside_the_bench_is_found_and_holds(tmp_path: Path) -> None:
    draft = noted(tmp_path / "calibration.logbook")
    told = listed(tmp_path)["load"]
    assert told["holds"] and draft["sentence"] in told["told"] and "Until" in told["told"]


def test_all_three_held_end_with_code_zero(tmp_path: Path) -> None:
    noted(tmp_path / "calibration.logbook")
    with Logbook.open(tmp_path / "calibration.logbook", writable=True) as book:
        for made in (angle.calibrate(stops()), height.calibrate(rule())):
            book.append("certificate", {**made["certificate"], "result_id": 1}, 1)
    assert bladerig("certificates", cwd=tmp_path).returncode == 0


def test_an_expired_certificate_is_told_with_its_date(tmp_path: Path) -> None:
    noted(tmp_path / "calibration.logbook", days_ago=200)
    told = listed(tmp_path)["load"]
    assert not told["holds"] and "expired on" in told["told"]


def test_a_certificate_of_another_cell_is_told(tmp_path: Path) -> None:
    noted(tmp_path / "calibration.logbook", serial="cell 7")
    told = listed(tmp_path)["load"]
    own = BENCH.cell.serial
    why = f"the load certificate is of 'cell 7', the bench has '{own}'"
    assert told["told"] == f"does not hold: {why}; make a new one: bladerig calibrate load"


def test_practice_certificates_are_listed_apart(tmp_path: Path) -> None:
    noted(tmp_path / "calibration.logbook", device="virtual")
    assert not listed(tmp_path)["load"]["holds"]
    done = bladerig("certificates", "--virtual", "--json", cwd=tmp_path)
    assert json.loads(done.stdout)["load"]["holds"]


def test_a_logbook_that_is_not_there_is_told_in_one_line(tmp_path: Path) -> None:
    done = bladerig("certificates", "study.logbook", cwd=tmp_path)
    assert "no such file" in told_in_one_line(done)


def test_an_unknown_weight_unit_is_told_before_anything_starts(tmp_path: Path) -> None:
    done = bladerig("calibrate", "load", "weights=2 stone", "--virtual", cwd=tmp_path)
    assert "weights" in told_in_one_line(done)


def test_an_unknown_setting_is_told(tmp_path: Path) -> None:
    done = bladerig("calibrate", "load", "wieghts=2 kg", "--virtual", cwd=tmp_path)
    assert "did you mean weights?" in told_in_one_line(done)
    assert not (tmp_path / "calibration.logbook").exists()


def test_a_whole_calibration_by_command_ends_with_its_page_and_holds(tmp_path: Path) -> None:
    done = bladerig(
        "calibrate", "angle", "operator=AB", "--virtual", "--json", cwd=tmp_path, typed="\n" * 200
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    page = (tmp_path / told["report"]).read_text(encoding="utf-8")
    assert told["certificate"]["sentence"] in page and "practice" in page
    listed_ = bladerig("certificates", "--virtual", "--json", cwd=tmp_path)
    assert json.loads(listed_.stdout)["angle"]["holds"]
    again = bladerig("report", "calibration.logbook", "--out", "again.html", cwd=tmp_path)
    assert again.returncode == 0
    assert told["certificate"]["sentence"] in (tmp_path / "again.html").read_text(encoding="utf-8")


def test_an_interrupted_calibration_goes_on_with_resume(tmp_path: Path) -> None:
    asked = ("calibrate", "angle", "operator=AB", "--virtual")
    cut = bladerig(*asked, cwd=tmp_path, typed="\n" * 6)
    assert "the input ended before the run did" in told_in_one_line(cut)
    done = bladerig(
        "calibrate", "angle", "--virtual", "--resume", "--json", cwd=tmp_path, typed="\n" * 200
    )
    assert done.returncode in (0, 2), done.stderr  # another virtual rig: its stops may not agree
    runs = json.loads(bladerig("runs", "calibration.logbook", "--json", cwd=tmp_path).stdout)
    assert [run["outcome"] for run in runs] == ["finished"]
