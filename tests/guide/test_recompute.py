"""Recomputing accuses no sound logbook, whatever the processor, and finds a changed number."""

import copy
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rig import __version__
from rig.guide import kinds
from rig.guide.recompute import Compared, recompute
from rig.logbook import Logbook
from rig.measure.same import Difference, differences
from tests.cli.commands import ROOT, bladerig
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, new_book, run

KERNELS = ("Haswell", "Nehalem", "SkylakeX")  # names of OpenBLAS, core types of its x86 kernels


def dropped(folder: Path) -> Path:
    with new_book(folder) as book:
        run(book, VirtualRig(), *impact(drops="1"))
        return book.path


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return dropped(tmp_path_factory.mktemp("drop"))


@pytest.fixture(scope="module")
def stored(logbook: Path) -> dict[str, Any]:
    with Logbook.open(logbook, writable=False) as book:
        return dict(next(r for r in book.results() if r.trial == "K3 drop 1").result)


@pytest.mark.parametrize("kernels", KERNELS)
def test_no_sound_logbook_is_accused_on_another_processor(
    tmp_path: Path, logbook: Path, kernels: str
) -> None:
    pried, _ = JigRig(TIPS["snap"]).run(tmp_path, "pry_to_failure")
    for path in (logbook, pried):
        done = subprocess.run(
            [sys.executable, "-c", "from rig.cli import main; main()", "recompute", str(path)],
            env={**os.environ, "OPENBLAS_CORETYPE": kernels, "PYTHONPATH": str(ROOT)},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert (done.returncode, done.stderr) == (0, ""), done.stdout
        assert "are the same, values within 0.001 U" in done.stdout


def changed(stored: Mapping[str, Any], measurand: str, by_u: float) -> dict[str, Any]:
    again: dict[str, Any] = copy.deepcopy(dict(stored))
    again["measurands"][measurand]["value"] += by_u * again["measurands"][measurand]["U"]
    return again


def test_any_value_changed_by_a_tenth_of_its_u_is_found_by_name(stored: dict[str, Any]) -> None:
    assert differences(stored, copy.deepcopy(stored)) == []
    for name in stored["measurands"]:
        for by_u in (0.1, -0.1):
            (found,) = differences(stored, changed(stored, name, by_u))
            assert found.text.startswith(f"{name}: ") and "(0.1 U apart)" in found.text
        assert differences(stored, changed(stored, name, 1e-5)) == []


def test_another_reason_kind_or_part_is_found_and_other_words_are_told_apart(
    stored: dict[str, Any],
) -> None:
    reason = {"name": "lost_frames", "text": "3 frames lost", "figure": 3.0, "limit": 0.0}
    one = {**stored, "reasons": [reason]}
    assert [d.words for d in differences(stored, one)] == [False]
    renamed = {**stored, "reasons": [{**reason, "name": "guard_opened"}]}
    assert [d.words for d in differences(one, renamed)] == [False]
    said = {**stored, "reasons": [{**reason, "text": "three frames went missing"}]}
    assert [d.words for d in differences(one, said)] == [True]
    assert differences(stored, {**stored, "caught": not stored["caught"]})
    assert differences(stored, {k: v for k, v in stored.items() if k != "caught"})
    fewer = {k: v for k, v in stored["measurands"].items() if k != "impact_energy"}
    assert differences(stored, {**stored, "measurands": fewer})


@pytest.mark.parametrize("size", [float("inf"), float("nan"), 1e9])
def test_a_stored_u_however_large_hides_nothing(stored: dict[str, Any], size: float) -> None:
    again = changed(stored, "impact_energy", 0.0)
    again["measurands"]["impact_energy"] |= {"value": 15.0, "U": size}
    assert any("impact_energy: 15.0 stored" in d.text for d in differences(again, stored))


def test_only_another_release_may_say_the_same_in_other_words() -> None:
    said = (Difference("said otherwise", words=True),)
    assert not Compared(1, "K3", said, __version__).same
    older = Compared(1, "K3", said, "0.0.1")
    assert older.same and older.reworded and "0.0.1" in older.by


def test_a_figure_in_words_may_differ_by_its_last_digit_only(stored: dict[str, Any]) -> None:
    one = {**stored, "notes": ["fit of 0.166 s"]}
    assert differences(one, {**stored, "notes": ["fit of 0.167 s"]}) == []
    assert differences(one, {**stored, "notes": ["fit of 0.266 s"]})


def test_a_result_that_no_step_computed_is_named(logbook: Path, tmp_path: Path) -> None:
    path = tmp_path / "more.logbook"
    shutil.copy(logbook, path)
    with Logbook.open(path, writable=True) as book:
        book.store_result(1, "K9 drop 1", "drop", {"measurands": {}}, [])
    (found,) = [c for c in recompute(path) if not c.same]
    assert (found.trial, found.differences[0].text) == ("K9 drop 1", "no step of a run computed it")


def test_a_result_stored_a_tenth_of_u_off_is_named_by_its_trial(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound = kinds.KINDS["drop"]

    def off(raw: bytes, settings: Mapping[str, Any]) -> dict[str, Any]:
        return changed(sound.compute(raw, settings), "impact_energy", 0.1)

    monkeypatch.setitem(kinds.KINDS, "drop", replace(sound, compute=off))
    path = dropped(tmp_path)
    monkeypatch.undo()
    assert [c.trial for c in recompute(path) if not c.same][-1] == "K3 drop 1"
    done = bladerig("recompute", path)
    assert done.returncode == 1
    told = done.stdout.splitlines()[-2]
    assert "(K3 drop 1), stored by version" in told
    assert "impact_energy" in told and "0.1 U apart" in told
