"""What a study fixes of its procedures, and trials that were made otherwise."""

import re
from pathlib import Path
from typing import Any

import pytest

from rig.guide import script
from rig.guide.verdict import KIND, Verdict
from rig.logbook import Logbook
from rig.report import studypage
from rig.study.answers import whole
from rig.study.register import kept, study_file
from rig.study.register.record import StudyRecord
from rig.study.register.responses import KINDS
from rig.study.register.template import template
from rig.study.register.turn import given, other_bench
from rig.tables import FileFaults
from tests.cli.commands import ROOT
from tests.study.books import StudyBook, begin, response
from tests.study.books import record as study_of

FILE = """\
title = "t"
question = "q"
primary = "impact_damage"
[[group]]
name = "A"
[[group]]
name = "B"
[[response]]
name = "impact_damage"
smallest = 0.2
margin = 0.1
"""


def faults(tmp_path: Path, more: str) -> list[str]:
    """Every line of fault of the study file with `more` at its end."""
    path = tmp_path / "s.toml"
    path.write_text(FILE + more, encoding="utf-8")
    with pytest.raises(FileFaults) as told:
        study_file.load(path)
    return told.value.faults


def test_a_setting_that_a_procedure_cannot_do_without_must_be_in_the_file(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, "")
    assert "drop_impact needs energy" in fault and "[settings.drop_impact]" in fault


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[settings.drop_impact]\nenergy = "5 kg"\n', "mass"),
        ('[settings.drop_impact]\nenergy = "5 J"\nenrgy = "5 J"\n', "no such setting"),
        ('[settings.drop_impact]\nenergy = "5 J"\nspecimen = "K3"\n', "given by the plan"),
        ('[settings.drop_impact]\nenergy = "5 J"\n[settings.hardness]\nreadings = 5\n',
         "no response asks for this procedure"),
    ],
)  # fmt: skip
def test_a_wrong_setting_is_told_with_its_line(tmp_path: Path, more: str, words: str) -> None:
    (fault,) = faults(tmp_path, more)
    assert words in fault and ":1" in fault  # lines 12 to 15


def test_numbers_and_flags_may_stand_without_quotes(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    more = '[settings.drop_impact]\nenergy = "5000 mJ"\nallow_second_strike = true\ndrops = 2\n'
    path.write_text(FILE + more, encoding="utf-8")
    told = kept.conditions.fixed(study_file.load(path), "drop_impact")
    assert told == {"energy": "5 J", "tolerance": "3%", "allow_second_strike": "yes", "drops": "2"}


def two_energies(tmp_path: Path, early: bool = False) -> StudyBook:
    """Four blades struck, one at 4 J; 5 J were stated, but `early`."""
    energy = {} if early else {"settings": {"drop_impact": {"energy": "5 J"}}}
    study: StudyRecord = study_of({"A": 2, "B": 2}, [response("impact_damage")], **energy)
    made = begin(tmp_path / "s.logbook", study)
    for n, blade in enumerate(("A1", "A2", "B1", "B2")):
        _strike(made, blade, 3e-4 + 1e-5 * n, "4 J" if blade == "B2" else "5 J")
    made.unseal()
    made.book.close()
    return made


def _strike(made: StudyBook, blade: str, depth_m: float, energy: str, mass_kg: float = 2.0) -> None:
    code = made.code[blade]
    bench = {"name": "b", "certificates": {}, "tower": {"carriage": {"mass_kg": mass_kg}},
             "frame": {"stroke": {"length_m": mass_kg}}}  # fmt: skip
    versions: dict[str, Any] = {
        "device": "port", "firmware": "1.0", "bench": bench,
        "asked": {"energy": energy, "tolerance": "3%", "specimen": code, "drops": "1"},
    }  # fmt: skip
    book = made.book
    run_id = book.start_run("drop_impact", "5eed" * 16, {"specimen": code}, versions)
    damage = {"kind": "roll", "depth_m": depth_m, "u_m": 1e-5}
    verdict = Verdict.judged(f"{code} drop 1", code, damage=damage)
    book.append(KIND, verdict.to_dict(), run_id)
    book.end_run(run_id, "finished", "done")


def test_a_trial_made_otherwise_is_listed_and_not_compared(tmp_path: Path) -> None:
    made = two_energies(tmp_path)
    told = whole.unsealed(made.book.path)
    (one,) = told.collected
    assert sorted(seen.blade for seen in one.observations) == ["A1", "A2", "B1"]
    (out,) = one.excluded
    assert out.reasons == ("not made like the others: energy 4 J where the study fixes 5 J",)
    page = studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")
    assert "energy 4 J where the study fixes 5 J" in page
    assert "Settings fixed before the first trial" in page


def test_a_trial_on_another_bench_is_refused_or_listed_only(tmp_path: Path) -> None:
    study = study_of(
        {"A": 2, "B": 2}, [response("impact_damage")], settings={"drop_impact": {"energy": "5 J"}}
    )
    made = begin(tmp_path / "s.logbook", study)
    now = {"tower": {"carriage": {"mass_kg": 2.1}}, "frame": {"stroke": {"length_m": 1.0}}}
    assert other_bench(made.book, "drop_impact", now, "port") == [], "the first one fixes it"
    _strike(made, "A1", 3e-4, "5 J")
    (said,) = other_bench(made.book, "drop_impact", now, "port")
    assert said == "another bench than in run 1 (tower.carriage.mass_kg differ)", (
        "no cut hangs on it"
    )
    assert other_bench(made.book, "hardness", now, "port") == []
    assert other_bench(made.book, "drop_impact", now, "virtual") == []
    _strike(made, "B1", 3e-4, "5 J", mass_kg=2.1)
    made.unseal()
    made.book.close()
    (one,) = whole.unsealed(made.book.path).collected
    (out,) = one.excluded
    assert out.reasons == ("another bench than in run 1 (tower.carriage.mass_kg differ)",)


def test_an_early_logbook_names_what_was_pooled_unlike(tmp_path: Path) -> None:
    made = two_energies(tmp_path, early=True)
    told = whole.unsealed(made.book.path)
    (one,) = told.collected
    assert len(one.observations) == 4, "nothing was fixed, so nothing is left out"
    (answer,) = told.answers
    said = f"Not made alike: energy is 5 J in most trials, but {made.code['B2']} drop 1 (run 4)"
    assert any(note.startswith(f"{said}: 4 J") for note in answer.notes), answer.notes
    page = studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")
    assert said in page


def test_the_order_keeps_what_was_fixed_when_it_was_dealt(tmp_path: Path) -> None:
    made = two_energies(tmp_path)
    with Logbook.open(made.book.path, writable=False) as book:
        order = kept.require(book).order
    assert order is not None
    assert order.fixed["drop_impact"]["energy"] == "5 J"
    assert order.fixed["drop_impact"]["tolerance"] == "3%", "defaults are fixed as well"


def test_an_order_dealt_by_an_earlier_version_is_read_with_what_its_file_stated(
    tmp_path: Path,
) -> None:
    made = two_energies(tmp_path)
    with Logbook.open(made.book.path, writable=False) as book:
        (row,) = book.journal(kind=kept.ORDER)
        stated = kept.require(book).record.model_dump(mode="json")
    later = ("fixed", "labels_by", "held", "salt")
    sealed = {key: told for key, told in row.body["sealed"].items() if key not in later}
    body = {key: told for key, told in row.body.items() if key not in later}
    record_of = {
        key: told for key, told in stated.items() if key not in ("hours_a_day", "settings")
    }
    record_of["response"][0]["settings"] = {"energy": "5000 mJ"}
    with Logbook.create(tmp_path / "old.logbook", title="old") as book:
        book.append(kept.RECORD, record_of)
        book.append(kept.ORDER, {**body, "sealed": sealed})
        study = kept.require(book)
        assert study.fixed == {"drop_impact": {"energy": "5 J"}}
        assert study.order is not None and study.key() == study.order.key()
        kept.unseal(book, "all planned trials are made")
        assert kept.require(book).key() == study.key()


@pytest.mark.parametrize(
    ("name", "larger", "better"),
    [("impact_damage", True, "less"), ("impact_damage", False, "less"),
     ("pry_torque", True, "more"), ("pry_torque", False, "less")],
)  # fmt: skip
def test_an_early_record_that_was_never_asked_takes_the_responses_own_way(
    name: str, larger: bool, better: str
) -> None:
    study = study_of({"A": 2, "B": 2}, [response(name, larger_is_better=larger)])
    assert study.response[0].response().better == better


def test_another_way_than_the_usual_needs_its_reason(tmp_path: Path) -> None:
    more = '[settings.drop_impact]\nenergy = "5 J"\n'
    turned = FILE.replace("margin = 0.1\n", 'margin = 0.1\nbetter = "more"\n')
    path = tmp_path / "s.toml"
    path.write_text(turned + more, encoding="utf-8")
    with pytest.raises(FileFaults, match="better_because"):
        study_file.load(path)
    why = turned.replace('"more"\n', '"more"\nbetter_because = "a wedge is wanted"\n')
    path.write_text(why + more, encoding="utf-8")
    what = study_file.load(path).response[0].response()
    assert (what.better, what.better_because) == ("more", "a wedge is wanted")
    path.write_text(turned.replace("better =", "larger_is_better =") + more, encoding="utf-8")
    with pytest.raises(FileFaults, match="each response knows its way"):
        study_file.load(path)


@pytest.mark.parametrize("procedure", sorted({kind.procedure for kind in KINDS.values()}))
def test_a_procedures_page_says_what_stays_free_at_the_bench(procedure: str) -> None:
    page = (ROOT / "procedures" / f"{procedure}.md").read_text(encoding="utf-8")
    assert f"`[settings.{procedure}]`" in page
    line = next(one for one in page.splitlines() if one.startswith("Free at the bench: "))
    free = {one.name for one in script.load(procedure).parameters if not one.measures}
    assert set(re.findall(r"`(\w+)`", line)) == free


def test_every_setting_that_a_study_fixes_is_in_its_template() -> None:
    text = template()
    for procedure in {kind.procedure for kind in KINDS.values()}:
        part = text.partition(f"#   [settings.{procedure}]\n")[2].partition("#   [settings")[0]
        named = set(re.findall(r"^#     (\w+) = ", part, re.M))
        assert named == {one.name for one in script.load(procedure).parameters if one.measures}


def test_the_template_names_which_way_each_response_is_better() -> None:
    text = template()
    for kind in KINDS.values():
        way = {"more": "more is", "less": "less is", "neither": "neither way is"}[kind.better]
        assert re.search(rf"^#   {kind.name} .*; {way} better$", text, re.M)


def test_a_setting_that_the_study_leaves_out_is_named_so(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", study_of({"A": 2, "B": 2}, ["edge_life"]))
    cuts = script.load("cuts_to_dull")
    _, apart = given(made.book, cuts, {"lot": "L9", "limit": "100"}, "port")
    assert apart == ["limit 100 where the study fixes 2000"], "the first trial fixes the lot"
    _, apart = given(made.book, cuts, {"limit": "2000"}, "port")
    assert apart == []
    _, apart = given(made.book, cuts, {"control": "C0"}, "port")
    assert apart == ["control C0 where the study leaves it out"]


def test_a_stated_lot_is_given_to_the_run_and_another_is_refused(tmp_path: Path) -> None:
    study = study_of({"A": 2, "B": 2}, ["edge_life"], settings={"cuts_to_dull": {"lot": "L7"}})
    made = begin(tmp_path / "s.logbook", study)
    wanted, apart = given(made.book, script.load("cuts_to_dull"), {"lot": "L9"}, "port")
    assert apart == ["lot L9 where the study fixes L7"]
    wanted, apart = given(made.book, script.load("cuts_to_dull"), {}, "port")
    assert (wanted["lot"], apart) == ("L7", [])
