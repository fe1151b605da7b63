"""Small slips in a study's week: each is named, weighed or offered back before it costs a blade."""

import re
import shlex
from pathlib import Path

import pytest

from rig.logbook import Logbook
from rig.logbook.journal import CORRECTED, STEP
from tests.cli.atbench import AtTheBench
from tests.cli.inside import done, refused, told
from tests.cli.test_week import book, dealt, key_of, make, next_of, person
from tests.guide.test_correcting import AFTER, BLADE, CHECK, bodies, hardness

__all__ = ["book", "person"]


@pytest.mark.parametrize("reason", ["cracked in the quench", "tip warped", "broke in a drop"])
def test_a_reason_that_sounds_like_the_treatment_is_not_said_to_be_none_in_passing(
    book: Path, reason: str
) -> None:
    code = next_of(book)["code"]
    line = refused("study", "lost", book, code, "--reason", reason, "--from-treatment", "no")
    assert "may come of the treatment" in line and "--other-cause" in line
    done("study", "lost", book, code, "--reason", reason, "--from-treatment", "no",
         "--other-cause", "it fell off the bench")  # fmt: skip
    with Logbook.open(book, writable=False) as opened:
        (lost,) = [row.body for row in opened.journal(kind="study-lost")]
    assert "it fell off the bench" in lost["reason"]


def test_an_unknown_code_is_told_before_the_open_key(book: Path) -> None:
    done("study", "unseal", book, "--reason", "to see")
    line = refused("study", "lost", book, "ZZ9", "--reason", "mislaid", "--from-treatment", "no")
    assert "ZZ9" in line and "key is open" not in line
    assert "no trial" in refused("withdraw", book, "ZZ9 hardness", "--reason", "typed wrong")


def test_a_comparison_says_which_trials_are_missing_and_why_the_key_was_opened_early(
    book: Path, person: AtTheBench
) -> None:
    key = key_of(book)
    while next_of(book)["procedure"] == "hardness":
        make(book, person, key)
    one = next_of(book)
    done("study", "unseal", book, "--reason", "the customer waits")
    text = done("compare", book)
    assert f"{one['code']} ({key[one['code']]})" in text and "drop_impact of" in text
    assert "the customer waits" in text


def test_a_withdrawn_trial_is_no_finished_one_in_the_list_of_runs_and_its_page_keeps_the_value(
    book: Path, person: AtTheBench
) -> None:
    code = make(book, person, key_of(book))
    done("withdraw", book, f"{code} hardness", "--reason", "wrong blade", "--not-again")
    assert "WITHDRAWN: wrong blade" in done("runs", book)
    assert told("runs", book)[0]["withdrawn"] == {f"{code} hardness": "wrong blade"}
    assert re.search(r"Withdrawn, and not counted: .*HRC", done("report", book, "--run", "1"))


def test_a_run_out_of_turn_says_before_its_blade_is_touched_what_becomes_of_it(
    tmp_path: Path, person: AtTheBench
) -> None:
    path = dealt(tmp_path, 2, "hardness")
    person.answers["blade"] = "60"
    out = done("run", "hardness", path, "readings=3", "--virtual", "--out-of-turn", "in a hurry")
    assert "OUT OF TURN" in out
    assert out.index("OUT OF TURN") < out.index("HRC"), "before anything is done"


def test_another_blade_than_the_one_whose_turn_it_is_is_named_before_it_is_used(
    tmp_path: Path, person: AtTheBench
) -> None:
    path = dealt(tmp_path, 2, "hardness")
    key = key_of(path)
    code = next_of(path)["code"]
    other = next(one for one in key if one != code)
    taken = iter([other, code])
    person.answers["label"] = lambda: next(taken)
    person.answers["blade"] = "60"
    out = done("run", "hardness", path, "--virtual")
    assert f"That is {other}, and this trial is of {code}" in out
    with Logbook.open(path, writable=False) as opened:
        (read,) = [row.body for row in opened.journal(kind="label_read")]
    assert read == {"code": code, "other": [other]}


@pytest.mark.parametrize(
    ("by", "said", "unsaid"),
    [("other", "will not test", "Alone:"), ("alone", "Alone:", "will not test")],
)
def test_what_to_do_with_the_labels_fits_who_sticks_them_on(
    tmp_path: Path, by: str, said: str, unsaid: str
) -> None:
    path = dealt(tmp_path, 2, "hardness")
    again = tmp_path / "again.logbook"
    done("study", "new", tmp_path / "s.toml", again)
    out = done("study", "deal", again, "--labels-by", by)
    assert said in out and unsaid not in out
    assert path.exists()


def test_a_number_without_its_unit_is_offered_back_and_enter_takes_it(tmp_path: Path) -> None:
    path = hardness(tmp_path, *CHECK, "4", "", "", "", "", *BLADE, *AFTER)
    (measured,) = [one for one in bodies(path, STEP) if one["step"]["step"] == "Measure"]
    assert measured["step"]["settings"]["piece"]["thickness_m"] == pytest.approx(0.004)


def test_back_passes_over_an_answer_that_was_refused(tmp_path: Path) -> None:
    typed = [*BLADE[:2], "sixty", "back", "60", "the light was poor", *BLADE[2:]]
    path = hardness(tmp_path, *CHECK, "3 mm", "", "", "", *typed, *AFTER)
    (changed,) = bodies(path, CORRECTED)
    assert (changed["first"], changed["now"]) == ("60.5", "60")


def test_the_next_reading_typed_too_soon_is_not_taken_for_the_reason(tmp_path: Path) -> None:
    typed = [*BLADE[:3], "back", "60", "61", "the light was poor", *BLADE[3:]]
    path = hardness(tmp_path, *CHECK, "3 mm", "", "", "", *typed, *AFTER)
    (changed,) = bodies(path, CORRECTED)
    assert changed["reason"] == "the light was poor"


def test_the_next_command_names_files_as_they_were_typed_and_as_a_shell_takes_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("second temper").mkdir()
    file = "second temper/study.toml"
    for args, then in (
        (("study", "init", file), ["bladerig", "study", "new", file, "NAME.logbook"]),
        (("study", "plan", file), ["bladerig", "study", "new", file, "NAME.logbook"]),
        (("study", "new", file, "our week.logbook"), ["our week.logbook"]),
    ):
        last = done(*args).strip().splitlines()[-1]
        words = shlex.split(last[last.index("bladerig") :])
        assert [word for word in then if word in words] == then, last
        assert str(tmp_path) not in last
