"""What cannot be at a bench is asked again, or refused before anything moves."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from procedures.lib import questions
from rig.errors import RigError
from rig.guide import script as scripts
from rig.guide.answers import understood
from rig.guide.parameters import read_all
from rig.guide.steps import Ask, Passage, Tell
from rig.units import parse_quantity
from tests.cli.inside import refused
from tests.guide.rigs import VirtualRig, new_book, run
from tests.guide.test_hardness import TYPED


def answered(passage: Passage[Any], *typed: str) -> tuple[Any, list[str]]:
    """What a passage of questions comes to, and what was said against the answers."""
    waiting: Iterator[str] = iter(typed)
    told: list[str] = []
    step = next(passage)
    try:
        while True:
            if isinstance(step, Tell):
                told.append(step.text)
                step = passage.send({})
                continue
            assert isinstance(step, Ask)
            said = next(waiting)
            value = said if step.kind in ("text", "number") else parse_quantity(said, step.kind)
            step = passage.send({"value": value})
    except StopIteration as end:
        return end.value, told


def test_a_blade_three_metres_thick_is_asked_again_in_plain_words() -> None:
    asked = questions.length("Thickness", "thickness", questions.BLADE_THICKNESS)
    value, told = answered(asked, "3 m", "-2 mm", "0 mm", "3 mm")
    assert value == pytest.approx(0.003)
    assert told[0] == "3000 mm cannot be: it is 0.02 mm to 30 mm." and len(told) == 3


@pytest.mark.parametrize("typed", ["-0.05 mm", "0 mm", "50 mm"])
def test_a_reading_of_damage_is_never_quite_sure_nor_quite_unsure(typed: str) -> None:
    value, told = answered(questions.how_sure(), typed, "0.05 mm")
    assert value == pytest.approx(5e-5) and "cannot be" in told[0]


@pytest.mark.parametrize("typed", ["0 N", "-1 N", "5 kN"])
def test_no_thread_is_severed_by_such_a_force(typed: str) -> None:
    value, told = answered(questions.force("Force", "severing", 100.0), typed, "1.25 N")
    assert value == 1.25 and "cannot be" in told[0]


@pytest.mark.parametrize("typed", ["nan", "inf", "sixty", ""])
def test_what_is_no_number_is_no_answer(typed: str) -> None:
    asked = questions.number("Reading", "reading", lambda _: "", "HRC")
    value, told = answered(asked, typed, "60.5 hrc")
    assert value == 60.5 and "is not a number" in told[0]


@pytest.mark.parametrize(
    ("step", "wanted"),
    [
        (Ask("Certificate? HRC", key="block_hrc", kind="number"), "type a number"),
        (Ask("Depth?", key="depth", kind="length"), "type a number and its unit, such as 0.3 mm"),
        (Ask("Damage?", key="damage", kind="choice", choices=("none", "roll")), "type none, roll"),
        (Ask("Why?", key="why"), "type a few words"),
    ],
)
def test_an_empty_answer_is_told_what_is_wanted(step: Ask, wanted: str) -> None:
    with pytest.raises(RigError) as caught:
        understood(step, "  ")
    assert str(caught.value) == f"nothing was typed; {wanted}"


def test_the_blocks_certificate_is_asked_for_as_a_number() -> None:
    asked = next(questions.number("Certificate? HRC", "block_hrc", lambda _: "", "HRC"))
    assert isinstance(asked, Ask) and asked.kind == "number"


def test_answers_refused_for_ever_end_a_run_that_can_be_gone_on_with(tmp_path: Path) -> None:
    script = scripts.load("hardness")
    typed = {**TYPED, "resolution": ["60.4"]}
    with new_book(tmp_path) as book:
        with pytest.raises(RigError, match="no usable answer in 20 tries to: To what step") as told:
            run(book, VirtualRig(), script, read_all(script.parameters, {"specimen": "K3"}),
                answers=typed)  # fmt: skip
        assert "resolution" not in str(told.value) and "--resume" in told.value.remedy
        assert [one.run_id for one in book.unfinished_runs()] == [1]


def test_a_dial_read_to_sixty_points_or_to_none_is_asked_again(tmp_path: Path) -> None:
    script = scripts.load("hardness")
    typed = {**TYPED, "resolution": ["60.4", "0", "-0.5", "0.5"], "block_U": ["60", "0.5"]}
    with new_book(tmp_path) as book:
        _, told = run(book, VirtualRig(), script, read_all(script.parameters, {"specimen": "K3"}),
                      answers=typed)  # fmt: skip
    assert told["valid"] and told["hardness_U_hrc"] < 2


@pytest.mark.parametrize(
    ("procedure", "setting", "said"),
    [
        ("calibrate_height", "marks=-5 m, 1 m, 2 m, 3 m", "no rule has a mark"),
        ("calibrate_height", "marks=4 m, 4.1 m, 4.2 m, 4.3 m", "no rule has a mark"),
        ("calibrate_height", "marks=1 mm", "name 4 or more"),
        ("calibrate_load", "weights=1 kg", "name 3 or more"),
        ("calibrate_load", "weights=-1 kg, 2 kg", "above zero"),
        ("hardness", "readings=1", "at least two readings"),
        ("hardness", f"readings={'9' * 5000}", "is too large"),
        ("hardness", "specimen=K\n3", "cannot be printed"),
        ("hardness", "specimen=K\udcff", "cannot be printed"),
        ("pry_to_failure", "schedule=,", "names no blocks"),
        ("edge_twist", "cycles=1000000", "200 or fewer"),
        ("cuts_to_dull", "places=99999999", "places: "),
        ("pry_to_failure", "side=up", "'up' is no side"),
        ("sharpness", "resolution=0 N", "resolution: "),
        ("sharpness", "resolution=5 kN", "resolution: "),
        ("sharpness", "scale_error=90%", "scale_error: "),
        ("cuts_to_dull", "force_limit=-5 N", "force_limit: "),
    ],
)
def test_settings_that_cannot_be_are_refused_in_one_line(
    tmp_path: Path, procedure: str, setting: str, said: str
) -> None:
    more = ("probe=force",) if "N" in setting or "scale" in setting else ()
    line = refused("run", procedure, tmp_path / "b.logbook", setting, *more, "--virtual")
    assert said in line
    assert not (tmp_path / "b.logbook").exists(), "nothing was begun"


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("tolerance=99.999%", "tolerance: an energy that may miss its target by 99.999%"),
        ("tolerance=0.0001%", "3% is usual; it is 0.1% to 20%"),
        ("spare=999999999", "spare: 999999999 is more than anybody makes in a run"),
        ("drops=100000000", "ask for 200 or fewer"),
    ],
)
@pytest.mark.parametrize("procedure", ["drop_impact", "staircase_impact"])
def test_drops_that_nobody_can_make_are_refused(
    tmp_path: Path, procedure: str, setting: str, said: str
) -> None:
    book = tmp_path / "b.logbook"
    assert said in refused("run", procedure, book, "energy=5J", setting, "--virtual")
    assert not book.exists(), "nothing was begun"


@pytest.mark.parametrize(
    ("setting", "said"),
    [("fails_at=-1 mm", "of damage"), ("fails_at=3 m", "of damage"), ("specimen=,", "a code out")],
)
def test_a_staircase_that_cannot_be_is_refused(tmp_path: Path, setting: str, said: str) -> None:
    line = refused(
        "run", "staircase_impact", tmp_path / "b.logbook", "energy=5J", setting, "--virtual"
    )
    assert said in line


def test_a_code_left_out_is_asked_for_again() -> None:
    value, told = answered(questions.blade({"specimen": ""}, shared=True), ",", "K3,", "K3, K4")
    assert value == "K3, K4"
    assert told == ["',' leaves a code out; write it like K3.",
                    "'K3,' leaves a code out; write it like K3."]  # fmt: skip


def test_several_blades_share_a_staircase_only() -> None:
    value, told = answered(questions.blade({"specimen": "K3, K4"}), "K3")
    assert value == "K3"
    said = "'K3, K4' names several blades, and only a staircase is shared"
    assert told == [f"{said}; write it like K3."]
    questions.check_blade({"specimen": "K3, K4"}, shared=True)
    questions.check_blade({"specimen": ""})


@pytest.mark.parametrize(
    ("procedure", "needs"),
    [
        ("drop_impact", ("energy=5J",)),
        ("pry_to_failure", ()),
        ("edge_twist", ()),
        ("hardness", ()),
        ("sharpness", ()),
        ("cuts_to_dull", ()),
    ],
)
def test_several_blades_typed_with_another_procedure_are_refused(
    tmp_path: Path, procedure: str, needs: tuple[str, ...]
) -> None:
    line = refused("run", procedure, tmp_path / "b.logbook", *needs, "specimen=K3,K4", "--virtual")
    assert "names several blades" in line and "specimen" in line
