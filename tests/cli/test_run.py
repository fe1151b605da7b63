"""`bladerig run` with a person's answers typed in, on the virtual rig."""

import json
from pathlib import Path

import pytest

from tests.cli.commands import bladerig, told_in_one_line

# Enter (or anything) confirms an action; the only questions of a clean run ask for damage.
TYPED = "none\n" * 200
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
    done = bladerig("run", "drop_impact", book, *IMPACT, "--json", typed=TYPED)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["drops"][0]["valid"] and told["drops"][0]["energy_j"] == pytest.approx(5, rel=0.03)
    assert Path(told["report"]).is_file()
    assert bladerig("audit", book).returncode == 0


def test_energy_may_be_given_in_any_unit(tmp_path: Path) -> None:
    done = bladerig(
        "run", "drop_impact", tmp_path / "b.logbook", "energy=3.7 ft*lbf", "specimen=K3",
        "--virtual", "--json", typed=TYPED,
    )  # fmt: skip
    told = json.loads(done.stdout)
    assert told["drops"][0]["energy_j"] == pytest.approx(3.7 * 1.3558179, rel=0.03)


def test_hazards_are_shown_with_the_action_they_belong_to(tmp_path: Path) -> None:
    done = bladerig("run", "drop_impact", tmp_path / "b.logbook", *IMPACT, typed=TYPED)
    release = done.stdout.index("Close the guard; nobody in line with the edge.")
    assert done.stdout.index("! Flying chips", release) - release < 600


def test_the_input_ending_stops_safely_and_resume_goes_on(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    cut = bladerig("run", "drop_impact", book, *IMPACT, typed="none\n" * 9)
    assert "the input ended before the run did" in told_in_one_line(cut)
    refused = bladerig("run", "drop_impact", book, *IMPACT, typed=TYPED)
    assert "--resume" in told_in_one_line(refused)
    done = bladerig("run", "drop_impact", book, "--virtual", "--resume", "--json", typed=TYPED)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["run_id"] == 1
    told = json.loads(bladerig("runs", book, "--json").stdout)
    assert [run["outcome"] for run in told] == ["finished"]


def test_an_unfinished_run_can_be_given_up_with_a_reason(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    bladerig("run", "drop_impact", book, *IMPACT, typed="none\n" * 9)
    done = bladerig(
        "run", "drop_impact", book, *IMPACT, "--abandon", "wrong blade", "--json", typed=TYPED
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(bladerig("runs", book, "--json").stdout)
    assert (told[0]["outcome"], told[0]["reason"]) == ("abandoned", "wrong blade")


def test_a_script_of_ones_own_runs_like_ours(tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text(MINE)
    done = bladerig(
        "run", mine, tmp_path / "b.logbook", "piece=anvil", "--virtual", "--json", typed="12 lb\n"
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["mass_kg"] == pytest.approx(5.44310844)


def test_an_answer_that_does_not_read_is_asked_again(tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text(MINE)
    done = bladerig(
        "run", mine, tmp_path / "b.logbook", "piece=anvil", "--virtual",
        typed="heavy\n12,5 kg\n12.5 kg\n",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("What does it read?") == 3
