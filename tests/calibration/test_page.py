"""The certificate's page: what it must say, and that it stands alone."""

from pathlib import Path
from typing import Any

import pytest

from rig.errors import RigError
from rig.guide import kinds, script
from rig.logbook.store import Logbook
from rig.report import certificate
from rig.report.page import content
from rig.report.rowwords import row_name
from tests.calibration.coverage import Lab, calibration
from tests.calibration.settings import BENCH, weights
from tests.calibration.test_angle import stops
from tests.calibration.test_height import rule


def calibrated(
    folder: Path, channel: str, settings: dict[str, Any], device: str = "port"
) -> tuple[Path, int]:
    """A logbook with one calibration run, as the guide leaves it."""
    path = folder / "calibration.logbook"
    built = script.load(f"calibrate_{channel}")
    versions = {"device": device, "bench": BENCH.model_dump(mode="json")}
    with Logbook.create(path, title="calibrations") as book:
        run = book.start_run(built.name, built.sha256, {}, versions)
        result = kinds.compute(f"{channel}_calibration", b"", settings)
        number = book.store_result(run, "calibration", f"{channel}_calibration", result, [])
        if result["certificate"] is None:
            reasons = [reason["text"] for reason in result["reasons"]]
            book.append("calibration_refused", {"channel": channel, "reasons": reasons}, run)
        else:
            book.append("certificate", {**result["certificate"], "result_id": number}, run)
        book.end_run(run, "finished", "end")
    return path, run


def page(folder: Path, channel: str, settings: dict[str, Any], device: str = "port") -> str:
    path, run = calibrated(folder, channel, settings, device)
    return certificate.write(path, run).read_text(encoding="utf-8")


def test_the_load_page_says_range_dates_cell_operator_weights_and_parts(tmp_path: Path) -> None:
    settings = calibration(Lab(5))
    text = page(tmp_path, "load", settings)
    sentence = kinds.compute("load_calibration", b"", settings)["certificate"]["sentence"]
    assert f'<p class="verdict">{sentence}</p>' in text
    assert "Holds until" in text and "by AB" in text and BENCH.cell.serial in text
    assert "0.2, 0.5, 1, 2, 5, 10 kg" in text
    for part in ("weights", "lever", "gravity", "hysteresis", "zero_return", "creep"):
        assert f"<td>{row_name(part)}</td>" in text
    assert "2.4 s" in text and "accredited" in text


def test_the_page_stands_alone_and_its_picture_has_words(tmp_path: Path) -> None:
    text = page(tmp_path, "load", weights())
    assert "http" not in text.replace("http://www.w3.org", "")
    assert 'src="data:image/svg+xml;base64,' in text
    assert "66 readings about their curve" in text


@pytest.mark.parametrize(("channel", "settings"), [("angle", stops()), ("height", rule())])
def test_angle_and_height_have_their_page(
    tmp_path: Path, channel: str, settings: dict[str, Any]
) -> None:
    text = page(tmp_path, channel, settings)
    told = kinds.compute(f"{channel}_calibration", b"", settings)
    assert told["certificate"]["sentence"] in text


def test_a_refused_calibration_says_why_and_gives_no_scale(tmp_path: Path) -> None:
    text = page(tmp_path, "load", weights(ratio=0.45359237))
    assert "No certificate." in text and "kg or lb?" in text
    assert "The scale" not in text and "Every reading stands in the logbook" in text


def test_practice_says_so(tmp_path: Path) -> None:
    assert "practice, no calibration" in page(tmp_path, "load", weights(), "virtual")


def test_another_kind_of_run_has_no_certificate_page(tmp_path: Path) -> None:
    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="t") as book:
        run = book.start_run("drop_impact", "0" * 64, {}, {})
    with pytest.raises(RigError, match="is a drop_impact, not a calibration"):
        certificate.write(path, run)


def test_the_command_says_the_certificates_sentence(tmp_path: Path) -> None:
    path, number = calibrated(tmp_path, "load", calibration(Lab(5)))
    sentence = certificate.verdict(path, number)
    assert sentence and content(path, number)["verdict"] == sentence
    with Logbook.create(tmp_path / "no.logbook", title="n") as book:
        versions = {"device": "port", "bench": BENCH.model_dump(mode="json")}
        number = book.start_run("calibrate_load", "x", {}, versions)
    told = certificate.verdict(tmp_path / "no.logbook", number)
    assert told == "No certificate: this calibration is not finished."
