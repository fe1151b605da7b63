"""Lost blades and withdrawn trials: what they do to an answer, and what is said of it."""

import tempfile
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import RigError
from rig.measure.life import Life
from rig.report import page, studypage
from rig.report.tables import export
from rig.study.answers import missing, whole
from rig.study.answers.answer import Answer
from rig.study.register import accidents, kept
from rig.study.register.accidents import Lost
from tests.cli.atbench import AtTheBench
from tests.cli.inside import done
from tests.study.books import StudyBook, begin, record

AT = datetime(2026, 5, 1, tzinfo=UTC)
TORQUES = {"A1": 8.0, "A2": 8.3, "A3": 7.8, "A4": 8.1, "B1": 12.0, "B2": 12.4, "B3": 11.8}


def lost(made: StudyBook, blade: str, tied: str, key_open: bool = False) -> None:
    """Tell a blade lost."""
    one = Lost(made.code[blade], "cracked at the quench", tied, (), AT, key_open)
    accidents.lose(made.book, one, [])


def pried(path: Path, tied: str | None) -> StudyBook:
    """Seven blades pried, B4 lost before it could be; sealed."""
    made = begin(path / "s.logbook", record({"A": 4, "B": 4}))
    if tied is not None:
        lost(made, "B4", tied)
    for blade, torque in TORQUES.items():
        made.pry(blade, torque)
    return made


def answer(made: StudyBook) -> Answer:
    """The answer, once unsealed."""
    if not kept.require(made.book).opened:
        made.unseal()
    made.book.close()
    (one,) = whole.unsealed(made.book.path).answers
    return one


def test_a_blade_lost_by_accident_is_listed_and_leaves_the_verdict_alone(tmp_path: Path) -> None:
    one = answer(pried(tmp_path, "no"))
    assert one.verdict == "difference shown" and "missing" not in one.headline
    assert any("Lost before this test: B4 (cracked at the quench" in note for note in one.notes)


@pytest.mark.parametrize("tied", ["yes", "unknown"])
def test_a_blade_lost_to_its_treatment_is_said_and_weighed_in_the_verdict(
    tmp_path: Path, tied: str
) -> None:
    one = answer(pried(tmp_path, tied))
    assert "1 blade is missing here for a reason that may lie in the treatment" in one.headline
    assert "(1 of B)" in one.headline and ("nobody knows" in one.headline) == (tied == "unknown")
    # With a fourth B as weak as the weakest A the scatter of B is as large as the difference.
    assert one.verdict == "difference shown"
    assert 'they would make the answer "cannot tell"' in one.headline


def test_the_worst_is_the_deepest_damage_and_the_lowest_torque(tmp_path: Path) -> None:
    made = pried(tmp_path, "yes")
    made.unseal()
    made.book.close()
    told = whole.unsealed(made.book.path)
    (one,), gone = told.collected, told.kept.lost
    worst = missing.as_worst(gone, one, told.key or {}, told.record)
    assert worst is not None and worst.observations[-1].value == min(TORQUES.values())
    one.response = one.response.model_copy(update={"better": "less"})
    worst = missing.as_worst(gone, one, told.key or {}, told.record)
    assert worst is not None and worst.observations[-1].value == max(TORQUES.values())
    one.response = one.response.model_copy(update={"better": "neither"})
    assert missing.as_worst(gone, one, told.key or {}, told.record) is None


def test_an_edge_that_was_lost_is_weighed_as_the_shortest_life_seen(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 4, "B": 4}, ["edge_life"]))
    lost(made, "B4", "yes")
    lives = {"A1": 100, "A2": 110, "A3": 95, "A4": 105, "B1": 300, "B2": 330, "B3": 290}
    for blade, cuts in lives.items():
        made.life(blade, cuts, cuts + 10)
    one = answer(made)
    told = whole.unsealed(made.book.path)
    (taken,) = told.collected
    worst = missing.as_worst(told.kept.lost, taken, told.key or {}, told.record)
    assert worst is not None
    assert worst.lives[-1] == Life("B4", "B", 95, 105) and len(taken.lives) == 7
    assert "Counted as the worst blade seen, they would" in one.headline


def test_a_blade_lost_after_its_test_is_missing_from_later_ones_only(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}, ["hardness", "pry_torque"]))
    for blade in made.code:
        made.trial(blade, "hardness", {"hardness": (60.0, 0.2)})
    lost(made, "B2", "yes")
    for blade in ("A1", "A2", "B1"):
        made.pry(blade, 9.0)
    assert kept.left(made.book, kept.require(made.book)) == []
    made.unseal()
    made.book.close()
    hard, pry = sorted(whole.unsealed(made.book.path).answers, key=lambda one: one.response.name)
    assert "missing" not in hard.headline and "1 blade is missing" in pry.headline


def test_a_withdrawn_trial_keeps_its_value_on_every_page_and_table(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    for n, blade in enumerate(sorted(made.code)):
        made.pry(blade, 9.0 + n)
    name = f"{made.code['A1']} pry_to_failure"
    accidents.withdraw(made.book, name.lower(), "the wood had split", False, key_open=False)
    assert kept.left(made.book, kept.require(made.book)) == [], "a broken tip is not asked for"
    made.unseal()
    made.book.close()
    (one,) = whole.unsealed(made.book.path).answers
    (out,) = one.excluded
    assert "the wood had split" in out.reasons[0]
    assert out.reasons[1] == "it gave pry torque to failure 9 N.m"
    text = studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")
    assert "Trials that were taken back" in text and "pry torque to failure 9 N.m" in text
    export(made.book.path, tmp_path / "tables")
    rows = (tmp_path / "tables" / "trials.csv").read_text(encoding="utf-8").splitlines()
    assert sum("the wood had split" in row for row in rows) == 1


def test_what_is_taken_out_with_the_key_open_is_said_in_the_verdict(tmp_path: Path) -> None:
    made = pried(tmp_path, None)
    made.unseal("a look")
    lost(made, "B4", "no", key_open=True)
    accidents.withdraw(made.book, "1", "too low", False, key_open=True)
    one = answer(made)
    said = "1 trial withdrawn and 1 blade told lost with the key open: chosen knowing whose"
    assert said in one.headline
    assert "WITH THE KEY OPEN" in one.excluded[0].reasons[0]


def test_withdrawing_by_run_takes_all_its_trials_and_asks_for_them_again(tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}, ["hardness"]))
    run_id = made.trial("A1", "hardness", {"hardness": (50.2, 0.2)})
    with pytest.raises(RigError, match="no trial 'A1'"):
        accidents.withdraw(made.book, "A1", "a slip", True, key_open=False)
    accidents.withdraw(made.book, str(run_id), "a slip", True, key_open=False)
    again = [one.code for one in kept.left(made.book, kept.require(made.book))]
    assert made.code["A1"] in again and len(again) == 4
    made.trial("A1", "hardness", {"hardness": (60.2, 0.2)})
    with pytest.raises(RigError, match="is a trial of runs 1, 2"):
        accidents.withdraw(made.book, f"{made.code['A1']} hardness", "b", True, key_open=False)
    assert len(kept.left(made.book, kept.require(made.book))) == 3


EVENTS = st.lists(
    st.tuples(st.sampled_from(["make", "void", "give up", "lose", "find", "withdraw", "early"]),
              st.integers(0, 5), st.sampled_from(["yes", "no", "unknown"])),
    max_size=25,
)  # fmt: skip


def happen(made: StudyBook, what: str, at: int, tied: str) -> None:
    """One thing that may happen in a week."""
    blades, study = sorted(made.code), kept.require(made.book)
    blade, left = blades[at % len(blades)], kept.left(made.book, study)
    codes = {code: name for name, code in made.code.items()}
    if what in ("make", "void", "give up") and left:
        one = left[0]
        outcome = "abandoned" if what == "give up" else "finished"
        made.trial(codes[one.code], one.procedure, VALUES[one.procedure], outcome=outcome,
                   reasons=["it slipped"] * (what == "void"))  # fmt: skip
    elif what == "early" and left:
        made.trial(codes[left[-1].code], left[-1].procedure, VALUES[left[-1].procedure])
    elif what == "lose" and all(one.code != made.code[blade] for one in study.lost):
        lost(made, blade, tied)
    elif what == "find":
        made.book.append(accidents.FOUND, {"code": made.code[blade], "reason": "there it is"})
    elif what == "withdraw" and (runs := made.book.runs()):
        with suppress(RigError):  # withdrawn before, or a run without a trial
            number = str(runs[at % len(runs)].run_id)
            accidents.withdraw(made.book, number, "a slip", tied == "yes", key_open=False)


VALUES = {"hardness": {"hardness": (60.0, 0.2)}, "pry_to_failure": {"peak_torque": (9.0, 0.1)}}


@settings(max_examples=10, deadline=None)
@given(EVENTS)
def test_whatever_happens_the_order_comes_to_its_end_and_everything_is_told(
    events: list[tuple[str, int, str]],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        study = record({"A": 2, "B": 3}, ["hardness", "pry_torque"])
        made = begin(Path(folder) / "s.logbook", study)
        for event in events:
            happen(made, *event)
        for _ in range(len(made.order.trials)):
            happen(made, "make", 0, "no")
        assert kept.left(made.book, kept.require(made.book)) == [], "it can be brought to its end"
        gone = {one.code for one in accidents.lost(made.book)}
        back = accidents.withdrawn(made.book)
        made.unseal()
        made.book.close()
        text = studypage.write(made.book.path, None)[0].read_text(encoding="utf-8")
        assert all(f"<td>{code}</td>" in text for code in gone)
        assert text.count("withdrawn on") >= len(back)
        for one in whole.unsealed(made.book.path).collected:
            names = {f"run {run}: {name}" for run, name in back}
            assert not names & {name for seen in one.observations for name in seen.trials}


def test_a_run_page_says_that_its_trial_was_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    readings = {"block_hrc": "60", "block_U": "0.4", "block_before": "60.3", "block_after": "60.3",
                "thickness": "3 mm", "blade": "50.5"}  # fmt: skip
    AtTheBench(dict(readings)).sits(monkeypatch)
    book = tmp_path / "b.logbook"
    done("run", "hardness", book, "specimen=K3", "--virtual")
    out = done("withdraw", book, "K3 hardness", "--reason", "typed wrong")
    assert "Withdrawn, on record: K3 hardness" in out and "bladerig runs" in out
    text = page.write(book, None, None).read_text(encoding="utf-8")
    assert "typed wrong" in text
    assert text.count("50.5") >= 5, "its readings stay on the page"
