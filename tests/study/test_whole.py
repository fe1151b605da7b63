"""A study from its logbook to its answers: what counts, what is left out and why."""

from pathlib import Path

import pytest

from rig.errors import RigError
from rig.study.answers.answer import Answer
from rig.study.answers.said import said
from rig.study.answers.whole import Whole, read, unsealed
from rig.study.register import kept
from rig.study.statistics.verdict import CANNOT_TELL, RULED_OUT, SHOWN
from tests.bench.studying import may_hide
from tests.study.books import StudyBook, begin, record, response

TORQUES = {"A1": 10.0, "A2": 10.6, "A3": 9.7, "B1": 15.1, "B2": 15.9, "B3": 14.6}

WHAT_LOADS_LEAVE_OPEN = (
    "All blades come from one furnace load: the result holds for that load.",
    "is not known: they count as treated in one load of their group.",
)


def two_groups(path: Path, **more: object) -> StudyBook:
    """Three blades in each of two groups, all pried."""
    made = begin(path / "s.logbook", record({"A": 3, "B": 3}, **more))  # type: ignore[arg-type]
    for blade, torque in TORQUES.items():
        made.pry(blade, torque)
    return made


def told(made: StudyBook) -> Whole:
    """The study unsealed and read."""
    made.unseal()
    made.book.close()
    return unsealed(made.book.path)


def only(whole: Whole) -> Answer:
    """The one answer of a study with one response."""
    (one,) = whole.answers
    return one


def why(one: Answer) -> dict[str, str]:
    """What is left out, by trial."""
    return {left.trial: "; ".join(left.reasons) for left in one.excluded}


def test_groups_far_apart_are_told_apart(tmp_path: Path) -> None:
    one = only(told(two_groups(tmp_path)))
    assert one.verdict == SHOWN and not one.excluded
    assert one.lines[0].estimate == pytest.approx(1.504, abs=0.005)
    assert one.lines[0].group == "B" and one.lines[0].size


def test_nothing_is_said_while_the_key_is_sealed(tmp_path: Path) -> None:
    made = two_groups(tmp_path)
    made.book.close()
    whole = read(made.book.path)
    assert whole.key is None and not whole.answers and len(whole.trials) == 6
    with pytest.raises(RigError, match="key of the codes is still sealed"):
        unsealed(made.book.path)


def test_every_trial_that_may_not_count_is_listed_with_its_reason(tmp_path: Path) -> None:
    made = two_groups(tmp_path, responses=[response("pry_torque", repeats=9)])
    made.trial("K9", "pry_to_failure", {"peak_torque": (12.0, 0.1)})
    made.pry("A1", 99.0, reasons=["the blade slipped in its clamp"])
    made.pry("A1", 99.0, indication=["the load certificate expired on 2031-02-03"])
    made.pry("A2", 99.0, run={"version": "0lder" * 12})
    made.pry("A3", 99.0, outcome="abandoned")
    made.pry("B1", 99.0, outcome=None)
    made.trial("B2", "pry_to_failure", {})
    made.pry("B3", -1.0)
    made.pry("B3", 99.0, run={"device": "virtual"})
    one = only(told(made))
    reasons = [left.reasons for left in one.excluded]
    assert len(reasons) == 9
    text = "\n".join("; ".join(reason) for reason in reasons)
    for wanted in (
        "'K9' is no code of this study",
        "the blade slipped in its clamp",
        "an indication only: the load certificate expired",
        "measured by another version of pry_to_failure",
        "its run is abandoned",
        "its run is not finished",
        "no pry torque to failure can be stated of it",
        "no ratio can be made of it",
        "practised on the virtual rig",
    ):
        assert text.count(wanted) == 1, wanted
    assert one.verdict == SHOWN, "what counts is as if the rest was not there"


def test_a_run_that_left_no_trial_is_listed(tmp_path: Path) -> None:
    made = two_groups(tmp_path)
    run = made.run("pry_to_failure", outcome=None)
    made.book.end_run(run, "abandoned", "the clamp broke")
    assert why(only(told(made))) == {
        "?, no trial": "its run left no verdict (abandoned: the clamp broke)"
    }


def test_the_version_that_most_counting_trials_came_from_is_the_one_compared(
    tmp_path: Path,
) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    for n in range(5):  # of another study, by an older version: they have no vote
        made.trial(f"Z{n}", "pry_to_failure", {"peak_torque": (1.0, 0.1)}, run={"version": "0" * 9})
    for blade, torque in {"A1": 10.0, "A2": 10.5, "B1": 11.0, "B2": 11.6}.items():
        made.pry(blade, torque)
    one = only(told(made))
    assert len(one.data.observations) == 4
    assert all("no code of this study" in text for text in why(one).values())


def test_a_result_computed_anew_takes_the_place_of_the_old_one(tmp_path: Path) -> None:
    made = two_groups(tmp_path)
    first = made.book.results()[0]
    newer = {**first.result, "measurands": {"peak_torque": {"value": 12.5, "u": 0.1}}}
    made.book.store_result(
        first.run_id, first.trial, first.measurand, newer, [], supersedes=first.result_id
    )
    values = {seen.blade: seen.value for seen in only(told(made)).data.observations}
    assert values["A1"] == 12.5 and values["A2"] == TORQUES["A2"]


def test_trials_of_other_procedures_are_named_as_beside_the_study(tmp_path: Path) -> None:
    made = two_groups(tmp_path)
    made.trial("A1", "edge_twist", {"peak_torque": (3.0, 0.1)})
    whole = told(made)
    assert [left.trial for left in whole.beside] == [f"{made.code['A1']} edge_twist"]
    assert whole.beside[0].reasons == ("the study compares nothing of edge_twist",)
    assert not only(whole).excluded


def test_a_group_with_one_blade_is_not_told_from_that_blade(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 1}))
    for blade in ("A1", "A2", "A3"):
        made.pry(blade, TORQUES[blade])
    made.pry("B1", 30.0)
    one = only(told(made))
    assert one.verdict == CANNOT_TELL
    assert "The group cannot be told from the blade" in one.lines[0].sentence
    assert one.to_dict()["comparisons"][0]["p"] is None


def test_unequal_numbers_of_blades_are_compared_all_the_same(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 5, "B": 2}))
    for n, torque in enumerate((10.0, 10.2, 9.9, 10.1, 9.8)):
        made.pry(f"A{n + 1}", torque)
    made.pry("B1", 20.0)
    made.pry("B2", 20.3)
    one = only(told(made))
    assert one.verdict == SHOWN
    assert {seen.blade for seen in one.data.observations} == {"A1", "A2", "A3", "A4", "A5",
                                                              "B1", "B2"}  # fmt: skip


def test_blades_that_all_survived_cannot_be_told_apart(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}))
    for blade in TORQUES:
        made.pry(blade, 20.0, censored="right")
    one = only(told(made))
    assert one.verdict == CANNOT_TELL
    assert "survived: they cannot be told apart" in one.lines[0].sentence
    assert "0 of 3 failed" in " ".join(one.notes)


def test_values_without_any_scatter_give_no_verdict(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}))
    for blade in TORQUES:
        made.pry(blade, 10.0)
    one = only(told(made))
    assert one.verdict == CANNOT_TELL and "finer resolution" in one.lines[0].sentence


def test_without_a_control_all_pairs_are_compared(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2, "C": 2}, control=None))
    for blade, torque in {"A1": 10, "A2": 11, "B1": 10, "B2": 11.5, "C1": 9, "C2": 12}.items():
        made.pry(blade, torque)
    one = only(told(made))
    assert [(line.group, line.against) for line in one.lines] == [
        ("B", "A"), ("C", "A"), ("C", "B"),
    ]  # fmt: skip
    assert "No group is the control: all pairs are compared." in one.notes


@pytest.mark.parametrize("name", ["pry_torque", "edge_life"])
def test_a_control_without_trials_leaves_every_comparison_to_it_open(
    tmp_path: Path, name: str
) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2, "C": 2}, [name]))
    for n, blade in enumerate(("B1", "B2", "C1", "C2")):
        if name == "pry_torque":
            made.pry(blade, 10.0 + n)
        else:
            made.life(blade, 100 + 20 * n, 120 + 20 * n)
    one = only(told(made))
    assert one.verdict == CANNOT_TELL
    assert [(line.group, line.against) for line in one.lines] == [("B", "A"), ("C", "A")]
    for line in one.lines:
        assert "A: no values" in line.sentence or "Group A has no edge life" in line.sentence


def test_a_study_without_trials_says_that_nothing_was_measured(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}, ["pry_torque", "edge_life"]))
    for one in told(made).answers:
        assert one.verdict == "nothing measured" and "no trial counts" in one.headline


def test_one_response_that_cannot_be_compared_leaves_the_others(tmp_path: Path) -> None:
    asked = [response("pry_torque"), response("hardness")]
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}, asked))
    for n, (blade, torque) in enumerate(TORQUES.items()):
        made.pry(blade, torque)
        made.trial(blade, "hardness", {"hardness": (60 + 0.1 * n, 0.5)}, censored="right")
    pried, hard = told(made).answers
    assert pried.verdict == SHOWN and hard.verdict == "nothing measured"
    assert all("only a bound" in text for text in why(hard).values()) and len(hard.excluded) == 6


def test_a_second_life_of_a_blade_does_not_count(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}, ["edge_life"]))
    for blade, fail in {"A1": 100, "A2": 120, "B1": 200, "B2": 240}.items():
        made.life(blade, fail - 20, fail)
    made.life("A1", 900, None)
    made.trial("A2", "cuts_to_dull")  # stopped before its first probe
    one = only(told(made))
    assert len(one.data.observations) == 4
    text = " / ".join("; ".join(left.reasons) for left in one.excluded)
    assert "an edge dulls once" in text and "no edge life can be stated" in text


def test_planned_repeats_on_a_blade_are_averaged(tmp_path: Path) -> None:
    made = two_groups(tmp_path, responses=[response("pry_torque", repeats=2)])
    made.pry("A1", 11.0)
    assert only(told(made)).lines[0].estimate == pytest.approx(1.48, abs=0.01)


def test_a_trial_beyond_the_plan_cannot_mend_the_answer(tmp_path: Path) -> None:
    made = two_groups(tmp_path)
    made.unseal("a look")
    made.pry("A1", 99.0)
    one = only(told(made))
    assert [left.reasons for left in one.excluded] == [
        ("beyond the plan: the first that counted of this blade by pry_to_failure stands",)
    ]
    (same,) = (seen for seen in one.data.observations if seen.blade == "A1")
    assert same.value < 20.0


def test_a_trial_made_again_for_one_that_did_not_count_stands(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}))
    made.pry("A1", 9.0, reasons=["it slipped"])
    for blade, torque in TORQUES.items():
        made.pry(blade, torque)
    assert len(only(told(made)).data.observations) == 6


def test_blades_of_one_load_each_are_no_proof_of_their_recipe(tmp_path: Path) -> None:
    loads = {b: f"load {b[0]}" for b in TORQUES}
    made = two_groups(tmp_path, loads=loads)
    one = only(told(made))
    assert one.verdict == CANNOT_TELL
    assert one.sentences[0] == (
        "Pry torque to failure: cannot tell recipes from furnace loads, because each group had one "
        "load: a difference between recipes is a difference between loads."
    )
    assert "the recipe cannot be told from the load" in one.lines[0].sentence
    assert "Of these two loads only: that of B gave 51 % more" in one.lines[0].sentence


def test_loads_not_known_are_told_in_the_first_sentence_for_values_lives_and_survivors(
    tmp_path: Path,
) -> None:
    asked = ["pry_torque", "pry_energy", "edge_life"]
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}, asked, loads={}))
    for n, (blade, torque) in enumerate(TORQUES.items()):
        values = {"peak_torque": (torque, 0.1), "energy_to_failure": (torque, 0.1)}
        made.trial(blade, "pry_to_failure", values, censored="right" if n == 5 else "")
        made.life(blade, round(100 + 10 * torque), round(115 + 10 * torque))
    answers = told(made).answers
    assert len(answers) == 3
    for one in answers:
        assert one.verdict == CANNOT_TELL
        assert "cannot tell recipes from furnace loads" in one.sentences[0]
        assert "no load of A or of B is on record" in one.sentences[0]
        assert "one load" not in one.sentences[0], "nobody knows how many there were"
        for text in (one.lines[0].sentence, *one.notes):
            assert "these two loads" not in text and "had one furnace load" not in text
        assert "not known: they count as treated in one load" in " ".join(one.notes)


def test_lives_follow_the_furnace_loads_as_values_do(tmp_path: Path) -> None:
    lives = {"A1": 100, "A2": 120, "A3": 110, "A4": 130, "B1": 300, "B2": 340, "B3": 310, "B4": 350}

    def verdict(name: str, load: dict[str, str]) -> Answer:
        made = begin(tmp_path / name, record({"A": 4, "B": 4}, ["edge_life"], loads=load))
        for blade, fail in lives.items():
            made.life(blade, round(fail / 1.15), fail)
        return only(told(made))

    assert verdict("all", dict.fromkeys(lives, "L1")).verdict == SHOWN
    assert verdict("none", {}).verdict == CANNOT_TELL
    assert verdict("own", {b: b for b in lives}).verdict == SHOWN, "one load a blade"
    nested = verdict("one", {b: b[0] for b in lives})
    assert nested.verdict == CANNOT_TELL
    assert "the recipe cannot be told from the load" in nested.lines[0].sentence
    shared = verdict("shared", {b: str(int(b[1]) % 2) for b in lives})
    assert shared.verdict == SHOWN
    assert "Blades are compared within their furnace load." in " ".join(shared.notes)


def test_lives_tell_as_values_do_that_all_blades_come_from_one_load(tmp_path: Path) -> None:
    def notes(name: str, loads: dict[str, str]) -> str:
        asked = ["edge_life", "pry_torque"]
        made = begin(tmp_path / name, record({"A": 3, "B": 3}, asked, loads=loads))
        for n, (blade, torque) in enumerate(TORQUES.items()):
            made.life(blade, 100 + 10 * n, 120 + 10 * n)
            made.pry(blade, torque)
        lives, pried = (" ".join(one.notes) for one in told(made).answers)
        assert any(text in lives and text in pried for text in WHAT_LOADS_LEAVE_OPEN)
        return lives

    assert "All blades come from one furnace load" in notes("one", dict.fromkeys(TORQUES, "L1"))
    assert "The furnace load of blades of A, B is not known" in notes("none", {})


def test_blades_that_share_a_trial_count_as_one(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 4, "B": 4}, ["staircase_energy"]))
    for pair, energy in {"A1,A2": 5.0, "A3,A4": 5.2, "B1,B2": 8.0, "B3,B4": 8.4}.items():
        codes = ", ".join(made.code[blade].lower() for blade in pair.split(","))
        made.trial("", "staircase_impact", {"failure_energy": (energy, 0.2)}, code=codes)
    one = only(told(made))
    assert {seen.blade for seen in one.data.observations} == {
        "A1 + A2", "A3 + A4", "B1 + B2", "B3 + B4",
    }  # fmt: skip


def test_trials_with_the_key_open_are_told_as_not_blind(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}))
    blades = list(TORQUES.items())
    for blade, torque in blades[:4]:
        made.pry(blade, torque)
    kept.unseal(made.book, "a look too early")
    for blade, torque in blades[4:]:
        made.pry(blade, torque)
    made.book.close()
    whole = unsealed(made.book.path)
    assert whole.kept.unsealed[0]["trials_left"] == 2
    assert len(whole.seeing) == 2 and said(whole)["trials_not_blind"] == 2
    assert not only(whole).excluded, "they count, and it is said"


def test_practice_on_the_virtual_rig_is_compared_as_practice(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}), device="virtual")
    for blade, torque in TORQUES.items():
        made.pry(blade, torque)
    whole = told(made)
    assert only(whole).verdict == SHOWN and said(whole)["practice"] is True


def test_the_headline_about_survivors_speaks_for_every_comparison(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 5, "B": 5, "C": 2}))
    torques = (10.0, 10.5, 9.6, 10.2, 9.9)
    for n, torque in enumerate(torques):
        made.pry(f"A{n + 1}", torque)
        made.pry(f"B{n + 1}", torque * 1.05)
    made.pry("C1", 10.4)
    made.pry("C2", 14.0, censored="right")
    one = only(told(made))
    assert "C against A: a group lower or higher, however much, would be found in" in one.headline
    assert "a test by their number asks for 4 blades or more in each group" in one.headline
    assert one.lines[0].verdict == RULED_OUT and "would be found" not in one.lines[0].sentence


def test_where_blades_of_one_group_survived_its_ratio_is_at_least_what_is_seen(
    tmp_path: Path,
) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 4, "B": 4}, ["edge_life", "pry_torque"]))
    for n, life in enumerate((100, 110, 105, 115)):
        over = n == 3
        made.life(f"A{n + 1}", life, life + 10)
        made.life(f"B{n + 1}", 2 * life, None if over else 2 * life + 10)
        made.pry(f"A{n + 1}", life / 10)
        made.pry(f"B{n + 1}", life / 5, censored="right" if over else "")
    for one in told(made).answers:
        (line,) = one.lines
        assert one.verdict == SHOWN and line.estimate > 1.95
        assert "in these blades at least" in line.sentence
        assert "in these blades at least" in one.headline and "at least" in line.effect


def test_settled_is_said_only_when_the_margin_is_ruled_out(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 6, "B": 6}))
    for n, torque in enumerate((10.0, 10.2, 9.9, 10.1, 9.8, 10.05)):
        made.pry(f"A{n + 1}", torque)
        made.pry(f"B{n + 1}", torque * 1.01)
    one = only(told(made))
    assert one.verdict == RULED_OUT and "(20 % more or 17 % less) ruled out" in one.headline


def test_groups_with_one_shared_staircase_each_are_told_drop_by_drop(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 10, "B": 10}, ["staircase_energy"]))
    for group, start in (("A", 5.0), ("B", 8.0)):
        codes = [made.code[f"{group}{n + 1}"] for n in range(10)]
        stair = {
            "levels_j": [start + 0.5 * (n % 2) for n in range(10)],
            "failed": [n % 2 == 1 for n in range(10)], "blades": codes, "step_j": 0.5,
        }  # fmt: skip
        values = {"failure_energy": (start + 0.25, 0.1)}
        made.trial("", "staircase_impact", values, code=",".join(codes), stair=stair)
    one = only(told(made))
    assert one.verdict == CANNOT_TELL, "one value a group"
    (note,) = (text for text in one.notes if "drop by drop" in text)
    assert "half fail at 3 J more (p < 0.001" in note and "not in its place" in note


def test_what_one_blade_a_group_may_hide_is_in_the_headline() -> None:
    """The figure that `make bench` holds against a simulation, read where a person reads it."""
    assert 2.3 < may_hide() < 2.9, "at the scatter of 30 % that is taken"
