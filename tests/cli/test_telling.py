"""What the commands around a run tell: its parameters, its result, what practice has."""

from pathlib import Path

import pytest

from rig.guide.script import built_in, load
from tests.cli.inside import done, typed_in

BLADE = ["", "", "60", "", "", *["60"] * 5, "3 mm", "", "", "", *["61"] * 5, "", "", *["60"] * 5]


@pytest.mark.parametrize("procedure", [n for n in built_in() if not n.startswith("calibrate_")])
def test_help_of_a_procedure_lists_what_it_takes(procedure: str) -> None:
    text = " ".join(done("run", procedure, "--help").split())
    for parameter in load(procedure).parameters:
        assert f"{parameter.name} (" in text


def test_help_without_a_procedure_names_them() -> None:
    text = done("run", "--help")
    assert "drop_impact" in text and "--help" in text


def test_runs_show_blade_and_result(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    done("run", "hardness", book, "specimen=K7", "--virtual", typed="\n".join(BLADE) + "\n")
    (line,) = done("runs", book).splitlines()
    assert "hardness" in line and "K7 hardness: 61 HRC" in line and line.endswith("finished")


def test_a_result_is_printed_once(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    text = done("run", "hardness", book, "specimen=K7", "--virtual", typed="\n".join(BLADE) + "\n")
    assert text.count("K7 hardness: 61.0") == 1


def test_certificates_say_what_practice_has(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    said = done("calibrate", "angle", "operator=AB", "--virtual", typed="\n" * 60)
    assert said.count("Good from") == 1, "the certificate's sentence is printed once"
    told = typed_in("certificates").output
    (angle,) = [line for line in told.splitlines() if line.startswith("angle")]
    assert "no certificate yet" in angle and "practice has one" in angle
    assert "bladerig certificates --virtual" in angle
    (load_line,) = [line for line in told.splitlines() if line.startswith("load")]
    assert "practice has" not in load_line
