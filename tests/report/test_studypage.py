"""The report of a study: what a sceptic must find on it, and that it stands alone."""

import re
from pathlib import Path

import pytest

from rig.report import studypage
from rig.study.answers.planning import blades_asked, plans
from rig.study.register import kept
from rig.study.register.record import StudyRecord
from tests.logbook.test_audit import tamper
from tests.report.test_page import _Tags
from tests.study.books import StudyBook, begin, record, response

ASKED = [
    response("pry_torque", scatter=0.12),
    response("hardness", parity=True, scatter=0.4),
    "edge_life",
    "impact_damage",
]
CERTIFICATE = {
    "channel": "load", "serial": "C7", "made": "2031-01-02T10:00:00Z", "operator": "the smith",
    "expires": "2031-02-03T10:00:00Z", "sentence": "0.2 to 8 N·m within 1 %",
}  # fmt: skip


def made(path: Path) -> StudyBook:
    """A study with every kind of trouble: expired in the middle, opened early, blades left out."""
    study = record({"A": 3, "B": 3}, ASKED, blocks=["day 1", "day 2"])
    told = begin(path / "s.logbook", study)
    holds = {"load": {"certificate": CERTIFICATE, "against": []}}
    expired = {"load": {"certificate": CERTIFICATE, "against": ["it expired on 2031-02-03"]}}
    for n, blade in enumerate(("A1", "A2", "A3", "B1", "B2", "B3")):
        over = n == 5
        if over:
            kept.unseal(told.book, "a <b>look</b> too early")
        told.trial(blade, "hardness", {"hardness": (60 + 0.2 * n, 0.3)})
        told.life(blade, 100 + 10 * n, None if n == 4 else 120 + 10 * n)
        damage = {"kind": "roll", "depth_m": 1e-4 * (n + 1), "u_m": 2e-5}
        told.trial(blade, "drop_impact", {}, damage=damage)
        told.pry(
            blade, 10.0 + n, run={"certificates": expired if over else holds},
            indication=["the load certificate expired on 2031-02-03"] if over else [],
            censored="right" if n == 4 else "",
        )  # fmt: skip
    told.book.append("check_load", {"out": False, "torque_nm": 1.0})
    return told


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    told = made(tmp_path_factory.mktemp("study"))
    told.book.close()
    path, _ = studypage.write(told.book.path, None)
    return path.read_text(encoding="utf-8")


def test_the_verdicts_come_before_any_table_and_the_primary_one_first(page: str) -> None:
    answer = page.index("Pry torque to failure: cannot tell. (Named beforehand to settle")
    assert page.index("Is it harder to break?") < answer < page.index("<table>")
    assert answer < page.index("Edge life: ")


def test_beside_each_verdict_its_two_yardsticks_are_told_apart(page: str) -> None:
    boxes = re.findall(r'<p class="verdict">.*?</p>', page, re.S)
    assert len(boxes) == 4
    for box in boxes:
        matters = r"a difference of [\d.]+ (% more or \d+ % less|HRC|mm) matters; "
        assert re.search(matters + r".*margin of [\d.]+ .* counts", box)


def test_it_stands_alone_prints_and_tells_those_who_cannot_see(page: str) -> None:
    tags = _Tags()
    tags.feed(page)
    for tag, attributes in tags.seen:
        assert tag not in {"script", "link", "iframe"}
        for name in ("src", "href"):
            address = attributes.get(name)
            assert address is None or address.startswith("data:image/svg+xml")
    pictures = [attributes for tag, attributes in tags.seen if tag == "img"]
    assert len(pictures) == 4 and all(len(a["alt"] or "") > 60 for a in pictures)
    assert "@media print" in page and 'lang="en"' in page


def test_no_word_of_a_table_goes_unexplained(page: str) -> None:
    told = page[page.index("How to read the tables") : page.index("<img")]
    for word in ("Interval:", "p:", "Would be found:", "In scatters:", "±:"):
        assert f"<li>{word}" in told, word
    assert "At equal geometry" not in page, "no column, no word of it"
    for jargon in ("Size in scatters", "p, all together", "intermediate precision", "Mind<"):
        assert jargon not in page, jargon


def told(path: Path, study: StudyRecord) -> str:
    """The page of a study whose blades all lie near one another in life and torque."""
    made = begin(path / "s.logbook", study)
    for n, blade in enumerate(made.study.blade):
        made.life(blade.name, 100 + 10 * n, 120 + 10 * n)
        made.pry(blade.name, 20.0 * (blade.group == "B") + 10 + n)
    made.unseal()
    made.book.close()
    return studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")


def test_nothing_of_a_verdict_stands_twice(tmp_path: Path) -> None:
    asked = ["edge_life", "pry_torque"]
    page = told(tmp_path, record({"A": 4, "B": 4, "C": 4}, asked))
    assert page.count("Taken for granted: within a furnace load") == 1, "once for all answers"
    assert page.count("All blades come from one furnace load") == 1
    assert page.count("so few blades tell the scatter".capitalize()) == 2, "once for each response"
    assert page.count("easily stays hidden") == 2
    assert "B against A: difference shown" not in page, "the table holds it"
    assert page.count("B better than A") == 2, "in the first sentence of either response"
    assert "averaged" not in page, "one trial a blade"


def test_the_order_names_its_blocks_and_whether_they_hold_the_groups_alike(tmp_path: Path) -> None:
    """Edge lives take days, which are the blocks where a file names none."""
    long, short = tmp_path / "long", tmp_path / "short"
    long.mkdir(), short.mkdir()
    page = told(long, record({"A": 3, "B": 3}, ["edge_life", "pry_torque"], hours_a_day=2))
    uneven = r"not every block holds the groups in equal shares in [\w ,]*cuts to dull"
    assert re.search(rf"random within blocks \(day 1, day 2, .*?\); {uneven}", page)
    assert "blocks (all)" not in page
    page = told(short, record({"A": 2, "B": 2}, ["pry_torque"], blocks=["day 1", "day 2"]))
    assert "random within blocks (day 1, day 2); each block holds the groups in equal" in page


def test_what_to_do_next_follows_from_what_was_found(page: str) -> None:
    told = page[page.index("What to do next") : page.index("How to read the tables")]
    assert "cannot tell. bladerig study plan s.logbook --pilot s.logbook says how many" in told
    assert "left: make them" not in told


def test_blades_stand_group_by_group_in_the_order_of_their_names(tmp_path: Path) -> None:
    told = begin(tmp_path / "s.logbook", record({"B": 11, "A": 2}))
    for n, blade in enumerate(("A2", "B10", "B2", "A1", "B11", "B1")):
        told.pry(blade, 10.0 + n)
    told.unseal("early")
    told.book.close()
    text = studypage.write(told.book.path, None)[0].read_text(encoding="utf-8")
    assert re.findall(r"<tr><td>([AB]\d+)</td>", text) == ["B1", "B2", "B10", "B11", "A1", "A2"]


def test_the_scope_tells_geometry_as_a_range_and_the_medium_that_was_cut(tmp_path: Path) -> None:
    study = record({"A": 2, "B": 1}, [response("edge_life", settings={"first": "10"})])
    blades = [
        blade.model_copy(update={"angle_deg": angle, "thickness": 3e-4})
        for blade, angle in zip(study.blade, (14.91, 15.13, None), strict=True)
    ]
    told = begin(tmp_path / "s.logbook", study.model_copy(update={"blade": tuple(blades)}))
    told.book.append("media", {"kind": "card", "lot": "L7", "thickness_m": 0.004})
    told.unseal("nothing was tested")
    told.book.close()
    text = studypage.write(told.book.path, None)[0].read_text(encoding="utf-8")
    for wanted in (
        "edge angle: 14.9 to 15.1° a side, as entered (1 not measured)",
        "medium cut: card lot L7 4 mm thick",
        "settings: cuts to dull with first 10",
    ):
        assert wanted in text, wanted


def test_every_blade_stands_there_with_unit_and_uncertainty(page: str) -> None:
    assert "10.00 ± 0.10 N·m" in page
    assert "more than 14.00 ± 0.10 N·m" in page
    assert "0.100 ± 0.040 mm" in page
    assert "more than 100, at most 120 cuts" in page and "more than 140 cuts" in page


def test_what_does_not_count_stands_there_with_its_reason(page: str) -> None:
    assert "an indication only: the load certificate expired on 2031-02-03" in page
    assert "it expired on 2031-02-03" in page and "1-19, 21-23" not in page


def test_certificates_tell_which_runs_they_served(page: str) -> None:
    table = page[page.index("<caption>Certificates") :]
    assert re.search(r"C7</td>.*?<td>4, 8, 12, 16, 20</td><td>nothing", table, re.S)
    assert re.search(r"<td>24</td><td>it expired on 2031-02-03", table)
    assert "hung weight on the load cell" in page


def test_plan_blinding_and_early_look_are_told(page: str) -> None:
    assert (
        "The key was opened before the last planned trial; made after it and not blind: 4 trials"
        in page
    )
    assert "a &lt;b&gt;look&lt;/b&gt; too early" in page, "text from people is never markup"
    assert "seed 3, numpy PCG64" in page and "Seal of the key" in page
    row = re.search(r"<td>pry to failure</td>(<td class=\"n\">\d+</td>){3}", page)
    assert row and "Count in a response" in page
    assert "Blades a group planned for" in page and "no scatter was stated" in page
    assert re.search(r"[A-Z]{2}\d is A1", page)


def test_limits_and_how_to_redo_it_are_told(page: str) -> None:
    for wanted in (
        "steel: not stated", "edge angle: not measured", '"Cannot tell" is not "no difference"',
        "bladerig audit s.logbook", "bladerig recompute s.logbook", "fingerprint",
    ):  # fmt: skip
        assert wanted in page, wanted


def test_a_logbook_that_was_changed_warns_before_any_number(tmp_path: Path) -> None:
    told = made(tmp_path)
    told.book.close()
    tamper(told.book.path, "UPDATE result SET result = replace(result, '10.0', '19.0')")
    text = studypage.write(told.book.path, None)[0].read_text(encoding="utf-8")
    assert text.index("WAS CHANGED AFTER IT WAS WRITTEN") < text.index("The answer")


def test_an_empty_study_still_has_its_report(tmp_path: Path) -> None:
    told = begin(tmp_path / "s.logbook", record({"A": 1, "B": 1}, ["pry_torque", "edge_life"]))
    told.unseal("nothing was tested")
    told.book.close()
    path, said = studypage.write(told.book.path, tmp_path / "p.html")
    text = path.read_text(encoding="utf-8")
    assert "no trial counts" in text and said["trials_left"] == 4
    assert "No certificate was in force." in text


def test_the_blades_asked_for_are_those_of_the_plan() -> None:
    study = record({"A": 3, "B": 3, "C": 3}, ASKED)
    made_plans = {planned.name: planned.plan.units for planned in plans(study)}
    assert list(made_plans) == [one.name for one in study.response]
    stated = [one for one in study.response if one.scatter is not None]
    assert len(stated) == 2
    for one in stated:
        assert blades_asked(one, study) == made_plans[one.name]
