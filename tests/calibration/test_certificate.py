"""A certificate says where and until when it holds, and every reason why it does not."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from rig.bench import Bench
from rig.calibration.certificate import (
    NOTE,
    Certificate,
    from_dict,
    issued,
    later,
    newest,
    standing,
)
from rig.calibration.load import calibrate
from rig.errors import RigError
from rig.logbook.certificates import certificates, find
from rig.logbook.store import Logbook
from tests.calibration.settings import BENCH, weights

MADE = datetime(2026, 3, 31, 9, 0, tzinfo=UTC)
DRAFT: dict[str, Any] = {**calibrate(weights())["certificate"], "result_id": 3}


def certificate(made: datetime = MADE, **changed: Any) -> Certificate:
    return replace(issued(DRAFT, made, 1, "cal.logbook", "port"), **changed)


def names(one: Certificate | None, bench: Bench = BENCH, **asked: Any) -> list[str]:
    now = asked.pop("now", MADE + timedelta(days=1))
    return [reason.name for reason in standing(one, "load", bench, now, **asked)]


def test_a_fresh_certificate_of_this_bench_holds() -> None:
    assert names(certificate()) == []
    assert names(certificate(), size=5.0) == []


def test_no_certificate_is_a_reason_and_names_the_command() -> None:
    (reason,) = standing(None, "load", BENCH, MADE)
    assert reason.name == "no_certificate" and "bladerig calibrate load" in reason.text


def test_it_expires_after_its_months_to_the_day() -> None:
    one = certificate()
    assert one.expires == datetime(2026, 9, 30, 9, 0, tzinfo=UTC)  # September has no 31st
    assert names(one, now=one.expires - timedelta(seconds=1)) == []
    assert names(one, now=one.expires) == ["expired"]


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        ("2026-01-31", 1, "2026-02-28"),
        ("2027-08-31", 6, "2028-02-29"),
        ("2026-12-15", 12, "2027-12-15"),
        ("2026-11-30", 2, "2027-01-30"),
    ],
)
def test_months_end_with_the_month(start: str, months: int, end: str) -> None:
    # common practice, no source: the same day, or the month's last
    assert later(datetime.fromisoformat(start), months) == datetime.fromisoformat(end)


def test_a_certificate_from_the_future_does_not_hold() -> None:
    assert names(certificate(), now=MADE - timedelta(days=1)) == ["not_yet"]


def test_another_cell_another_bench_and_another_arm_are_each_told() -> None:
    other = BENCH.model_copy(update={"name": "the other bench"})
    assert names(certificate(), other) == ["other_bench"]
    cell = BENCH.model_copy(update={"cell": BENCH.cell.model_copy(update={"serial": "cell 2"})})
    assert names(certificate(), cell) == ["other_cell"]
    arm = BENCH.pry.arm.model_copy(update={"length_m": 0.25})
    longer = BENCH.model_copy(update={"pry": BENCH.pry.model_copy(update={"arm": arm})})
    assert names(certificate(), longer) == ["other_arm"]


@pytest.mark.parametrize("size", [0.1, 40.0])
def test_a_size_outside_the_range_is_told(size: float) -> None:
    assert names(certificate(), size=size) == ["out_of_range"]


def test_it_survives_json_unchanged_and_its_scale_names_it() -> None:
    one = certificate()
    assert from_dict(json.loads(json.dumps(one.to_dict()))) == one
    assert one.scale().source == "load certificate of 2026-03-31 (cal.logbook, run 1)"


def test_the_newest_of_this_bench_is_taken_before_a_newer_one_of_another() -> None:
    older = certificate()
    own = certificate(MADE + timedelta(days=2))
    foreign = certificate(MADE + timedelta(days=3), bench="the other bench")
    assert newest([older, own, foreign], BENCH) == {"load": own}
    assert newest([foreign], BENCH) == {"load": foreign}


def test_certificates_are_found_in_several_logbooks(tmp_path: Path) -> None:
    paths = [tmp_path / "study.logbook", tmp_path / "calibration.logbook"]
    for path in paths:
        with Logbook.create(path, title="t") as book:
            run = book.start_run("calibrate_load", "0" * 64, {}, {"device": "port"})
            book.append(NOTE, DRAFT, run)
    found = find([*paths, tmp_path / "not there.logbook"], BENCH)
    assert found["load"].logbook == "calibration.logbook"
    assert names(found["load"], now=datetime.now(UTC) + timedelta(hours=1)) == []


def test_practice_gives_no_certificate_to_a_real_bench(tmp_path: Path) -> None:
    path = tmp_path / "calibration.logbook"
    with Logbook.create(path, title="t") as book:
        book.append(NOTE, DRAFT, book.start_run("c", "0" * 64, {}, {"device": "virtual"}))
    assert find([path], BENCH) == {}
    assert find([path], BENCH, virtual=True)["load"].device == "virtual"


def test_a_file_that_is_no_logbook_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "calibration.logbook"
    path.write_text("not a logbook")
    with pytest.raises(RigError, match=r"calibration\.logbook"):
        certificates(path)
