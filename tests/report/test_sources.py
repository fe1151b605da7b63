"""The page says where each number is from: certificates, the carriage's mass, the raw frames."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from rig import bench as benches
from rig.bench import Bench
from rig.calibration.certificate import Certificate, issued
from rig.calibration.inforce import certified
from rig.guide.device import WORDS
from rig.guide.recompute import recompute
from rig.logbook import Logbook
from tests.calibration.settings import BENCH
from tests.cli.inside import done, script
from tests.cli.test_bench_file import faults
from tests.guide.rigs import VirtualRig, impact, run
from tests.report.text import words

MADE = datetime.now(UTC) - timedelta(days=10)
COUNT_M = 0.00024998


def height_certificate() -> Certificate:
    """A height certificate of the design bench."""
    curve = {
        "right": [0.0, COUNT_M], "left": [0.0, COUNT_M], "u_relative": 0.0002, "u_absolute": 0.0,
        "dof": None, "low": 0.05, "high": 0.81, "unit": "m",
    }  # fmt: skip
    draft: dict[str, Any] = {
        "channel": "height", "bench": BENCH.name, "serial": "", "operator": "me", "curve": curve,
        "within": 0.0008, "sentence": "", "held": {}, "months": 12, "result_id": 7,
    }  # fmt: skip
    return issued(draft, MADE, 3, "calibration.logbook", "virtual")


def drop(folder: Path, bench: Bench, kind: str = "virtual") -> Path:
    """One drop on a bench; gives its logbook."""
    path, rig = folder / "b.logbook", VirtualRig()
    rig.device.kind = kind
    with Logbook.create(path, title="b") as book:
        run(book, rig, *impact(), bench=bench)
    return path


def test_with_a_height_certificate_the_scale_of_every_drop_names_it(tmp_path: Path) -> None:
    one = height_certificate()
    path = drop(tmp_path, certified(benches.load(None), {"height": one}, datetime.now(UTC)))
    with Logbook.open(path, writable=False) as book:
        drops = [r for r in book.results() if r.measurand == "drop"]
        sources = {
            row["source"]
            for result in drops
            for row in result.result["measurands"]["impact_speed"]["rows"]
            if row["name"] == "scale"
        }
    assert sources == {f"height certificate of {MADE:%Y-%m-%d} (calibration.logbook, run 3)"}
    assert all(compared.same for compared in recompute(path))
    page = words(path)
    assert sources.pop() in page
    told = page.split("Certificates that the run found")[1]
    ends = f"{MADE:%Y-%m-%d} {one.expires:%Y-%m-%d} yes"
    assert f"height run 3 of calibration.logbook, result 7, by me {ends}" in told
    assert "indication only" not in page


def test_without_one_the_page_says_plainly_that_there_is_none(tmp_path: Path) -> None:
    page = words(drop(tmp_path, benches.load(None)))
    told = page.split("Certificates that the run found")[1]
    assert "height none no: there is no height certificate" in told
    assert "0.00025 m/count 7.5e-08" in page and "stated by the bench" in page


def test_an_expired_certificate_is_named_and_its_scale_is_not_used(tmp_path: Path) -> None:
    old = replace(height_certificate(), expires=MADE + timedelta(days=1))
    page = words(drop(tmp_path, certified(benches.load(None), {"height": old}, datetime.now(UTC))))
    assert "no: the height certificate expired on" in page
    assert "indication only: the height certificate expired on" in page
    assert "height certificate of 20" not in page.split("Certificates that the run found")[0]


def test_a_run_begun_with_a_certificate_of_another_day_goes_on_as_on_the_same_bench() -> None:
    from rig.bench.unlike import changed

    plain = benches.load(None)
    with_one = certified(plain, {"height": height_certificate()}, datetime.now(UTC))
    began, with_it, practice = (
        bench.model_dump(mode="json") for bench in (plain, with_one, benches.practising(plain))
    )
    assert changed(began, with_it) == [] and changed(practice, with_it) == []


def test_the_virtual_rigs_carriage_is_nowhere_called_weighed(tmp_path: Path) -> None:
    path = drop(tmp_path, benches.load(None))
    with Logbook.open(path, writable=False) as book:
        carriage = book.runs()[0].versions["bench"]["tower"]["carriage"]
        drops = [r for r in book.results() if r.trial == "K3 drop 1"]
    assert carriage["weighed"] is False and carriage["practice"] is True
    rows = drops[0].result["measurands"]["impact_energy"]["rows"]
    (mass,) = [row for row in rows if row["name"] == "mass"]
    said = "not weighed: the virtual rig's true mass is drawn about the stated one"
    assert mass["source"] == said
    assert f"2 kg, u 0.003 kg ({said})" in words(path)


def test_on_a_real_board_the_mass_is_the_benches_or_the_designs(tmp_path: Path) -> None:
    assert "port" in WORDS
    assert "2 kg, u 0.003 kg (the design's: not weighed)" in words(
        drop(tmp_path, benches.load(None), kind="port")
    )


def test_what_a_bench_file_cannot_say_of_its_sources_is_refused(tmp_path: Path) -> None:
    text = '[tower.carriage]\npractice = true\n[tower.wire]\nsource = "me"\n'
    assert [fault.partition(";")[0] for fault in faults(tmp_path, text)] == [
        "5: tower.carriage.practice: cannot be stated",
        "7: tower.wire.source: cannot be stated",
    ]


@pytest.fixture(scope="module")
def noted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run of a script of one's own that streams nothing."""
    folder = tmp_path_factory.mktemp("own")
    mine = script(folder, 'yield Ask("Who?", key="who")')
    done("run", mine, folder / "b.logbook", "--virtual", typed="me\n")
    return folder / "b.logbook"


def test_a_run_without_frames_has_no_empty_table_of_them(noted: Path) -> None:
    page = words(noted)
    assert "This run kept no frames of the board: its raw data are the answers, each in" in page
    assert "SHA-256" not in page


def test_every_frame_of_a_run_is_listed_whether_a_result_used_it_or_not(tmp_path: Path) -> None:
    path = drop(tmp_path, benches.load(None))
    page = words(path)
    with Logbook.open(path, writable=False) as book:
        raws = book.raw_ids(1)
    assert len(
        re.findall(r"\b[0-9a-f]{64}\b", page.split("SHA-256")[1].split("logbook")[0])
    ) == len(raws)
