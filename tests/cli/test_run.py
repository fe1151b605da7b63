"""`bladerig run` with a person's answers typed in, on the virtual rig."""

import json
from pathlib import Path

import pytest

from tests.cli.commands import bladerig, told_in_one_line
from tests.cli.inside import done, refused, told

# Enter (or anything) confirms an action; the only questions of a clean run ask for damage.
TYPED = "none\n\n" * 200  # no damage, and how small a one would have been seen
IMPACT = ("energy=5J", "specimen=K3", "--virtual")

MINE = """\
from rig.guide.parameters import Parameter
from rig.guide.steps import Ask, Note, Tell

TITLE = "Weigh it"
PARAMETERS = (Parameter("piece", "text", None, "what is weighed"),)


def procedure(params, bench):
    yield Tell("Put " + params["piece"] + " on the scale.")
    mass = yield Ask("What does it read?", key="mass", kind="mass")
    yield Note("mass", kind="mass", body={"mass_kg": mass["value"]})
    return {"mass_kg": mass["value"]}
"""


def test_a_whole_run_ends_with_its_conclusion_and_a_report(tmp_path: Path) -> None:
    book = tmp_path / "blades.logbook"
    ended = bladerig("run", "drop_impact", book, *IMPACT, "--json", typed=TYPED)
    assert ended.returncode == 0, ended.stderr
    said = json.loads(ended.stdout)
    assert said["drops"][0]["valid"] and said["drops"][0]["energy_j"] == pytest.approx(5, rel=0.03)
    assert Path(said["report"]).is_file()
    assert "sound" in done("audit", book)


def test_energy_may_be_given_in_any_unit(tmp_path: Path) -> None:
    args = ("energy=3.7 ft*lbf", "specimen=K3", "--virtual")
    said = told("run", "drop_impact", tmp_path / "b.logbook", *args, typed=TYPED)
    assert said["drops"][0]["energy_j"] == pytest.approx(3.7 * 1.3558179, rel=0.03)


def test_hazards_are_shown_with_the_action_they_belong_to(tmp_path: Path) -> None:
    text = done("run", "drop_impact", tmp_path / "b.logbook", *IMPACT, typed=TYPED)
    release = text.index("Close the guard; nobody in line with the edge.")
    assert release - text.rindex("! Flying chips", 0, release) < 600


def test_practice_is_called_practice_at_its_beginning_and_end(tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text(MINE)
    text = done("run", mine, tmp_path / "b", "piece=anvil", "--virtual", typed="12 lb\n")
    assert text.startswith("VIRTUAL RIG: practice")
    assert "as run 1 on the VIRTUAL RIG: practice." in text


def test_the_input_ending_stops_safely_and_resume_goes_on(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    cut = bladerig("run", "drop_impact", book, *IMPACT, typed="none\n" * 9)
    assert "the input ended before the run did" in told_in_one_line(cut)
    assert "--resume" in refused("run", "drop_impact", book, *IMPACT, typed=TYPED)
    said = told("run", "drop_impact", book, "--virtual", "--resume", typed=TYPED)
    assert said["run_id"] == 1
    assert [run["outcome"] for run in told("runs", book)] == ["finished"]


def test_an_unfinished_run_can_be_given_up_with_a_reason(tmp_path: Path) -> None:
    mine, book = tmp_path / "mine.py", tmp_path / "b.logbook"
    mine.write_text(MINE)
    refused("run", mine, book, "piece=anvil", "--virtual")
    args = ("piece=hammer", "--virtual", "--abandon", "wrong piece")
    told("run", mine, book, *args, typed="12 lb\n")
    first, second = told("runs", book)
    assert (first["outcome"], first["reason"]) == ("abandoned", "wrong piece")
    assert second["outcome"] == "finished" and second["rig"] == "virtual"


def test_a_script_of_ones_own_runs_like_ours(tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text(MINE)
    args = ("piece=anvil", "--virtual")
    assert told("run", mine, tmp_path / "b", *args, typed="12 lb\n")["mass_kg"] == pytest.approx(
        5.44310844
    )


def test_an_answer_that_does_not_read_is_asked_again(tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text(MINE)
    args = ("piece=anvil", "--virtual")
    text = done("run", mine, tmp_path / "b", *args, typed="heavy\n12,5 kg\n12.5 kg\n")
    assert text.count("What does it read?") == 3
