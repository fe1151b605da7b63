"""The page of a run that stopped: nothing measured is lost from it, and nothing false is said."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from rig import bench as benches
from rig.errors import RigError
from rig.guide import script as scripts
from rig.guide.parameters import read_all
from rig.guide.runner import INTERRUPTED, Runner
from rig.logbook import Logbook
from rig.report import notes
from rig.report.page import content
from tests.cli.inside import done, script
from tests.guide.jigs import TIPS, JigRig
from tests.guide.rigs import VirtualRig, impact, run
from tests.report.text import words


def stops_at(*starts: str) -> Any:
    """A hook: the person presses Ctrl-C at a text."""

    def hook(_: object, text: str) -> None:
        if text.startswith(starts):
            raise KeyboardInterrupt

    return hook


def stopped(path: Path, hook: Any, given: dict[str, str] | None = None) -> Path:
    """A drop test that stopped there."""
    with Logbook.create(path, title="b") as book, pytest.raises(KeyboardInterrupt):
        run(book, VirtualRig(hook=hook), *impact(**(given or {})))
    return path


LOOK = "Raise the carriage clear of the blade"


def test_a_drop_that_was_measured_before_the_stop_is_on_the_page(tmp_path: Path) -> None:
    path = stopped(tmp_path / "b.logbook", stops_at(LOOK))
    said, page = content(path, None), words(path)
    with Logbook.open(path, writable=False) as book:
        energy = book.results(trial="K3 drop 1")[0].result["measurands"]["impact_energy"]
    value = f"{energy['value']:.3f} ± {energy['U']:.3f} J"
    assert "1 drop was measured and has no verdict: the run did not come to it" in said["verdict"]
    assert value in said["verdict"] and "Nothing was measured" not in page
    assert page.count(value) >= 3, "in the sentence, in the table of drops, in its own table"
    assert "no verdict : the run did not come to it; the measurement" in page
    assert "indication only: there is no height certificate" in page
    (trial,) = said["trials"]
    assert trial["valid"] is False and trial["judged"] is False
    assert trial["reasons"] == ["no verdict is on record"]
    assert any("height certificate" in why for why in trial["indication"])


def test_verdicts_given_before_the_stop_stand_beside_what_has_none(tmp_path: Path) -> None:
    def second(rig: VirtualRig, text: str) -> None:
        if text.startswith(LOOK) and len(rig.tower.truth) == 7:  # five empty drops, then two
            raise KeyboardInterrupt

    path = stopped(tmp_path / "b.logbook", second, {"drops": "3"})
    said = content(path, None)["verdict"]
    assert said.startswith("1 of 1 drop is valid. Impact energy: ")
    assert "1 drop was measured and has no verdict" in said and "An indication only" in said


def test_a_drop_recorded_and_not_measured_is_told_with_its_frames(tmp_path: Path) -> None:
    path = stopped(tmp_path / "b.logbook", stops_at("Wait until the carriage is still. Open"))
    page = words(path)
    assert "K3 drop 1: recorded (raw row 6), nothing was worked out of it" in page
    assert page.count("K3 drop 1") == 2, "beside the plan, and among the raw frames"
    assert "Nothing was measured on a specimen in this run so far." in page


def test_a_pry_that_stopped_before_its_verdict_states_its_torque(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        rig = JigRig(TIPS["snap"], hook=stops_at("Arm let back, then shield open"))
        rig.run(tmp_path, "pry_to_failure", {"tip": ["snapped"]})
    page = words(tmp_path / "jig.logbook")
    assert "1 trial was measured and has no verdict" in page and "Peak torque: " in page
    assert "no load certificate" in page and "no angle certificate" in page
    assert "certificate's scale" not in page, "there is none"


def test_a_staircase_that_stopped_shows_its_drops(tmp_path: Path) -> None:
    path, chosen = tmp_path / "b.logbook", scripts.load("staircase_impact")
    params = read_all(chosen.parameters, {"energy": "5 J", "specimen": "K3"})
    rig = VirtualRig(hook=stops_at("Drop 3:"))
    with Logbook.create(path, title="b") as book, pytest.raises(KeyboardInterrupt):
        run(book, rig, chosen, params)
    page = words(path)
    assert "Staircase impact: run 1" in page
    assert "2 of 2 drops are valid. Impact energy: " in page
    assert "The staircase itself came to no result. An indication only" in page
    assert page.count("K3 site 2") >= 2


def test_a_whole_staircase_lists_its_drops_and_says_which_do_not_count(tmp_path: Path) -> None:
    def jammed(rig: VirtualRig, text: str) -> None:
        if text.startswith("Drop "):
            rig.tower.fault("catch_jammed", on=text.startswith("Drop 2:"))

    path, chosen = tmp_path / "b.logbook", scripts.load("staircase_impact")
    params = read_all(chosen.parameters, {"energy": "5 J", "specimen": "K3", "drops": "6"})
    with Logbook.create(path, title="b") as book:
        run(book, VirtualRig(hook=jammed), chosen, params)
    page = words(path)
    others = page.split("What else was measured")[1].split("The tower that day")[0]
    assert "K3 site 1 nothing against it (an indication only) impact energy " in others
    assert "K3 site 2 not valid: struck 2 times" in others
    assert others.count("there is no height certificate") == 1
    assert "Staircase impact: run 1" in page and "no result" not in page
    assert "Empty drops of this run" in page and "Carriage 2 kg" in page


def test_no_answer_or_note_is_shown_as_data(tmp_path: Path) -> None:
    mine = script(
        tmp_path,
        'x = yield Ask("How deep?", key="x", kind="length")\n'
        'yield Note("n", kind="odd_note", body={"depth_m": x["value"], "torque_nm": 1.5,\n'
        '    "ok": True, "none": None, "table": {"a_kg": 2.0, "deep": {"b_j": 3.0}},\n'
        '    "list": [{"f_n": 1.0}, {"f_n": 2.0}], "empty": {}, "words": ["one", "two"],\n'
        '    "energy": {"value": 5.0, "U": 0.02, "unit": "J"}})',
    )
    done("run", mine, tmp_path / "b.logbook", "--virtual", typed="0.3 mm\n")
    page = words(tmp_path / "b.logbook")
    for wanted in (
        "How deep? 0.3 mm", "odd note: depth 0.3 mm", "torque 1.5 N·m", "ok yes", "table, a 2 kg",
        "table, deep, b 3 J", "list f 1 N; f 2 N", "words one; two", "energy 5.000 ± 0.020 J",
    ):  # fmt: skip
        assert wanted in page, wanted
    assert not set("{}[]'") & set(page.split("What was asked and noted")[1].split("Check it")[0])


@pytest.mark.parametrize(
    ("value", "kind", "said"),
    [
        (0.0003, "length", "0.3 mm"),
        (1.2, "length", "1.2 m"),
        (5.0, "energy", "5 J"),
        (23.5, "temperature", "23.5 °C"),
        ("none", "choice", "none"),
        ("K3", "text", "K3"),
    ],
)
def test_an_answer_has_the_unit_of_its_dimension(value: Any, kind: str, said: str) -> None:
    assert notes.answer(value, kind) == said


@pytest.mark.parametrize("procedure", ["pry_to_failure", "edge_twist"])
def test_the_check_weight_of_a_stopped_run_has_its_torques_with_uncertainty(
    tmp_path: Path, procedure: str
) -> None:
    rig = JigRig(TIPS["snap"], hook=stops_at("No-load sweep"))
    with pytest.raises(KeyboardInterrupt):
        rig.run(tmp_path, procedure)
    page = words(tmp_path / "jig.logbook")
    told = {
        name: (float(value), float(expanded))
        for name, value, expanded in re.findall(
            r"check load: (torque|expected) ([\d.]+) ± ([\d.]+) N·m", page
        )
    }
    value, expanded = told["expected"]
    stated, arm = benches.load(None).pry, benches.load(None).pry.arm
    assert value == pytest.approx(stated.check.mass_kg * 9.80665 * arm.calibration_m, rel=0.005)
    assert 0 < expanded < 0.02 * value
    assert told["torque"][1] > expanded, "without a certificate the scale is known less well"
    assert "U nm" not in page and not re.search(r"check load: [^:]* U\b", page)


def killed(patch: pytest.MonkeyPatch, path: Path) -> None:
    """A run whose program dies while the drop is looked at: no row can say so."""
    append = Logbook.append

    def dead(self: Logbook, kind: str, *rest: Any) -> int:
        if kind == INTERRUPTED:
            raise RigError("killed")
        return append(self, kind, *rest)

    with patch.context() as context:
        context.setattr(Logbook, "append", dead)
        stopped(path, stops_at(LOOK))


def test_a_run_that_was_killed_and_went_on_says_from_when_to_when(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "b.logbook"
    killed(monkeypatch, path)
    assert "the run goes on still, or stopped without a word" in words(path)
    chosen, _ = impact()
    rig = VirtualRig(boot=2)
    with Logbook.open(path, writable=True) as book:
        last = max(row.at_utc for row in book.journal(1))
        Runner(book, benches.load(None), rig.device, rig.operator()).resume(1, chosen)
    page = words(path)
    when = f"{last:%Y-%m-%d %H:%M:%S}"
    assert f"the run stopped without a word at or after {when}" in page
    assert "gone on at 20" in page and "goes on still" not in page
    assert "1 of 1 drop is valid" in page


def test_a_run_that_was_killed_and_given_up_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "b.logbook"
    killed(monkeypatch, path)
    with Logbook.open(path, writable=True) as book:
        book.end_run(1, "abandoned", "wrong blade")
    page = words(path)
    assert "given up at 20" in page and "(wrong blade)" in page


def test_a_run_stopped_from_the_keyboard_did_not_stop_without_a_word(tmp_path: Path) -> None:
    path = stopped(tmp_path / "b.logbook", stops_at(LOOK))
    assert "without a word" not in words(path)
    assert "the run stopped: stopped from the keyboard" in words(path)
    assert json.dumps(content(path, None))
