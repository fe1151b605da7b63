"""A whole study through a week in which things go wrong: the command line on the virtual rig."""

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from rig.logbook import Logbook
from rig.study.register import kept
from tests.cli.atbench import AtTheBench
from tests.cli.inside import done, refused, told

TRUE_HRC = {"A": 59.0, "B": 62.0}
SPREAD = {"1": -0.5, "2": 0.0, "3": 0.5, "4": 0.0}
STUDY = """\
title = "Second temper"
question = "Is B harder than A, and is it dented less?"
primary = "hardness"
[[group]]
name = "A"
control = true
[[group]]
name = "B"
[[response]]
name = "hardness"
smallest = 1.0
margin = 1.0
[[response]]
name = "impact_damage"
smallest = 0.2
margin = 0.1
[settings.drop_impact]
energy = "5 J"
"""
BLADE = '[[blade]]\nname = "{0}"\ngroup = "{1}"\nload = "furnace {0}"\n'


@pytest.fixture
def person(monkeypatch: pytest.MonkeyPatch) -> AtTheBench:
    """Who sits at the bench."""
    readings = {"block_hrc": "60", "block_U": "0.4", "block_before": "60.3", "block_after": "60.3",
                "thickness": "3 mm", "blade": "60.3"}  # fmt: skip
    return AtTheBench(dict(readings)).sits(monkeypatch)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A study of two blades a group, its codes dealt."""
    return dealt(tmp_path, 2)


def dealt(folder: Path, blades: int, only: str = "") -> Path:
    """The logbook of a study of so many blades a group; `only` one response is asked for."""
    asked = STUDY.partition('[[response]]\nname = "impact')[0] if only else STUDY
    each = "".join(BLADE.format(f"{g}{n + 1}", g) for g in TRUE_HRC for n in range(blades))
    (folder / "s.toml").write_text(asked + each, encoding="utf-8")
    path = folder / "s.logbook"
    done("study", "new", folder / "s.toml", path)
    done("study", "deal", path)
    return path


def key_of(book: Path) -> dict[str, str]:
    """Code -> blade, as whoever sticks the labels on reads it off the sheet."""
    text = book.with_suffix(".labels.html").read_text(encoding="utf-8")
    return {
        code: blade for blade, code in re.findall(r'<td>(\w+)</td><td class="code">(\w+)<', text)
    }


def next_of(book: Path) -> dict[str, Any]:
    """What comes now."""
    one: dict[str, Any] = told("study", "next", book)
    return one


def true_hrc(blade: str) -> str:
    """What the tester shows for a blade."""
    return f"{TRUE_HRC[blade[0]] + SPREAD[blade[1]]:g}"


def make(book: Path, person: AtTheBench, key: dict[str, str], *more: str) -> str:
    """The trial that comes now, by the command that is printed for it; gives its code."""
    one = next_of(book)
    person.answers["blade"] = true_hrc(key[one["code"]])
    typed = shlex.split(one["command"])
    typed += [] if "--virtual" in typed else ["--virtual"]
    done(*typed[1:], *more)
    assert next_of(book)["left"] == one["left"] - 1, "it is made"
    return str(one["code"])


def test_the_printed_command_works_as_typed(book: Path, person: AtTheBench) -> None:
    key = key_of(book)
    assert "add --virtual" in done("study", "next", book)
    make(book, person, key)
    second = next_of(book)
    assert second["practice"] and second["command"].endswith("--virtual")
    while next_of(book)["procedure"] == "hardness":
        make(book, person, key)
    one = next_of(book)
    assert one["procedure"] == "drop_impact" and "energy=5 J" in one["command"]
    make(book, person, key)  # with what the command says, and nothing else
    with Logbook.open(book, writable=False) as opened:
        assert opened.runs()[-1].outcome == "finished"


def test_a_run_takes_the_settings_of_the_study_and_refuses_others(
    book: Path, person: AtTheBench
) -> None:
    key = key_of(book)
    while next_of(book)["procedure"] == "hardness":
        make(book, person, key)
    line = refused("run", "drop_impact", book, "energy=4 J", "--virtual")
    assert "energy 4 J where the study fixes 5 J" in line and "--out-of-turn" in line
    line = refused("run", "drop_impact", book, "tolerance=10%", "--virtual")
    assert "tolerance 10% where the study fixes 3%" in line, "defaults are fixed too"
    with Logbook.open(book, writable=False) as opened:
        assert all(run.procedure == "hardness" for run in opened.runs()), "nothing was begun"
    done("run", "drop_impact", book, "--virtual")
    with Logbook.open(book, writable=False) as opened:
        assert opened.runs()[-1].versions["asked"]["energy"] == "5 J"


def test_a_lost_blade_a_withdrawn_trial_a_refused_setting_and_one_out_of_turn_are_all_told(
    tmp_path: Path, person: AtTheBench
) -> None:
    book = dealt(tmp_path, 4, "hardness")
    key = key_of(book)
    # The first trial is typed wrong, taken back, and asked for again.
    wrong = next_of(book)["code"]
    person.answers["blade"] = "50.5"
    done("run", "hardness", book, "--virtual")
    name = f"{wrong} hardness"
    assert "asks for it again" in done("withdraw", book, name, "--reason", "typed 50.5 for 60.5")
    assert next_of(book)["code"] == wrong
    assert "withdrawn already" in refused("withdraw", book, name, "--reason", "once more")
    # One blade goes missing before it is read; its code is asked for no more.
    gone = next(code for code, blade in key.items() if blade[0] == "B" and code != wrong)
    line = refused("study", "lost", book, gone, "--reason", "cracked in the rack")
    assert "--from-treatment" in line, "whether the treatment has to do with it is asked for"
    out = done("study", "lost", book, gone, "--reason", "cracked", "--from-treatment", "unknown")
    assert "1 trial is struck off the plan, 7 left" in out
    assert "is told lost already" in refused(
        "study", "lost", book, gone, "--reason", "again", "--from-treatment", "no"
    )
    assert "is told lost: cracked" in refused(
        "run", "hardness", book, f"specimen={gone}", "--virtual"
    )
    # One trial is made before its turn.
    early = next(code for code in key if code not in (gone, wrong))  # `wrong` comes now
    person.answers["blade"] = true_hrc(key[early])
    done("run", "hardness", book, f"specimen={early}", "--virtual", "--out-of-turn", "at hand")
    # One is made with fewer readings: refused, then listed only, and asked for as it should be.
    other = next_of(book)["code"]
    assert "such a trial is not like the others" in refused(
        "run", "hardness", book, "readings=3", "--virtual"
    )
    person.answers["blade"] = "65"
    done("run", "hardness", book, "readings=3", "--virtual", "--out-of-turn", "in a hurry")
    assert next_of(book)["code"] == other
    while next_of(book)["left"]:
        assert make(book, person, key) != gone
    done("study", "unseal", book)
    assert "runs 1, 3, 4; give the number of its run" in refused(
        "withdraw", book, name, "--reason", "late"
    )
    assert "the key is open" in refused("withdraw", book, "4", "--reason", "late")
    assert "the key is open" in refused(
        "study", "lost", book, other, "--reason", "late", "--from-treatment", "no"
    )

    text, page = done("compare", book), json.loads(done("report", book, "--json"))
    answers = {one["response"]: one for one in page["answers"]}
    hard = answers["hardness"]
    assert hard["verdict"] == "difference shown", hard
    assert "1 blade is missing here for a reason that may lie in the treatment" in hard["headline"]
    (line,) = hard["comparisons"]
    more = float(line["effect"].removesuffix(" HRC more"))
    assert line["group"] == "B" and 2.0 < more < 4.0, line
    shown = Path(page["report"]).read_text(encoding="utf-8")
    for where in (text, shown):
        assert "typed 50.5 for 60.5" in where and "it gave hardness 50.2 HRC" in where
        assert "cracked" in where
        assert "readings 3 where the study fixes 5" in where
    assert "at hand" in shown and "Made out of turn" in shown
    assert [one["trial"] for one in hard["excluded"]] == [name, f"{other} hardness"]
    with Logbook.open(book, writable=False) as opened:
        assert kept.left(opened, kept.require(opened)) == []


def test_a_run_given_up_does_not_ask_for_its_blade_forever(
    book: Path, person: AtTheBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rig.session.wish import Stopped

    one = next_of(book)

    def stop() -> str:
        raise KeyboardInterrupt

    person.answers["blade"] = stop
    with pytest.raises(Stopped):
        done("run", "hardness", book, "--virtual")
    assert next_of(book)["unfinished"], "it is to be gone on with"
    out = done("study", "lost", book, one["code"], "--reason", "fell", "--from-treatment", "no")
    assert "2 trials are struck off" in out
    with Logbook.open(book, writable=False) as opened:
        run = opened.runs()[-1]
    assert (run.outcome, run.reason) == ("abandoned", "blade lost: fell")
    assert next_of(book)["code"] != one["code"] and not next_of(book)["unfinished"]
    assert "is back in the plan" in done("study", "found", book, one["code"], "--reason", "not it")
    after = done("study", "next", book)
    assert f"blade {one['code']}" in after
    assert f"study lost {book} {one['code']}" in after, "and how to be rid of it is said"
