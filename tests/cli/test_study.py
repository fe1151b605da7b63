"""The study commands from file to report, in one process, and their mistakes in one line each."""

import json
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from rig.cli.ending import ended
from rig.cli.main import cli
from rig.logbook import Logbook
from rig.study.register import kept
from rig.study.register.order import random_order
from tests.study.books import begin, record, response

STUDY = """\
title = "Second temper"
question = "Harder to break?"
primary = "pry_torque"
blocks = ["day 1", "day 2"]
[[group]]
name = "A"
control = true
[[group]]
name = "B"
[[response]]
name = "pry_torque"
smallest = 1.25
margin = 1.15
settings = { side = "left hand" }
[[blade]]
name = "A1"
group = "A"
load = "one"
thickness = "0.30 mm"
[[blade]]
name = "B1"
group = "B"
load = "one"
"""

Say = Callable[..., tuple[int, str, str]]


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Say:
    """Run a command line as a process would: exit code, stdout, stderr."""

    def run(*args: object) -> tuple[int, str, str]:
        code = ended(partial(cli.main, [str(arg) for arg in args]))
        out, err = capsys.readouterr()
        return code, out, err

    return run


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """A study file of two blades."""
    path = tmp_path / "study.toml"
    path.write_text(STUDY, encoding="utf-8")
    return path


def refused(told: tuple[int, str, str]) -> str:
    """The one line of a command that refused."""
    code, out, err = told
    assert code == 2 and not out, told
    (line,) = err.splitlines()
    return line


def test_the_template_is_a_study_in_order(say: Say, tmp_path: Path) -> None:
    assert say("study", "init", tmp_path / "s.toml")[0] == 0
    code, out, _ = say("study", "plan", tmp_path / "s.toml")
    assert code == 0 and "6 blades in each of 2 groups find a difference of 25 %" in out
    assert (tmp_path / "s.plan.svg").stat().st_size > 5000
    assert "is there already" in refused(say("study", "init", tmp_path / "s.toml"))
    assert "no such folder" in refused(say("study", "init", tmp_path / "nowhere" / "s.toml"))


def test_two_blades_are_told_to_find_only_a_factor(say: Say, study: Path) -> None:
    code, out, _ = say("study", "plan", study)
    assert code == 0
    row = next(line for line in out.splitlines() if re.match(r" +2 +about [\d.]+ times", line))
    factor = float(re.search(r"about ([\d.]+) times", row)[1])  # type: ignore[index]
    assert factor > 3
    assert f"only where one group reaches about {factor:g} times the other" in out
    assert (
        "to find 25 % more or 20 % less (that matters)" in out
        and "above the margin (15 % more or 13 % less)" in out
    )
    pairs = re.findall(r"^ +(\d+) +(\S.*?)   +(?:> )?\d+%", out, re.M)
    assert len(pairs) > 8 and all("%" in text or "times" in text for _, text in pairs)
    assert "> 99%" in out and "100%" not in out, "no study is certain"


def test_a_plan_names_one_number_of_blades_and_the_cheaper_way(say: Say, study: Path) -> None:
    """Two responses ask for unlike numbers; loads of each recipe's own, four blades in each."""
    text = study.read_text(encoding="utf-8")
    head = text[: text.index("[[blade]]")] + (
        '[[response]]\nname = "hardness"\nsmallest = 1\nmargin = 1\nscatter = 0.4\n'
    )
    blades = "".join(
        f'[[blade]]\nname = "{group}{i}"\ngroup = "{group}"\nload = "{group} {i % 3}"\n'
        for group in "AB"
        for i in range(12)
    )
    study.write_text(head + blades, encoding="utf-8")
    code, out, err = say("study", "plan", study)
    assert code == 0, err
    totals = re.findall(
        r"^All together: (\d+) blades \((.*?): pry torque to failure asks", out, re.M
    )
    (most, how), asked = totals[0], re.findall(r"^  (\d+) blades, \d+ trials", out, re.M)
    assert len(totals) == 1 and int(most) == max(map(int, asked)) and len(set(asked)) > 1
    cheaper = re.search(
        r"cheaper: \d+ furnace loads, each with .*? find the same with (\d+) b", out
    )
    assert cheaper and int(cheaper[1]) < int(asked[0]) and "for each of 2 groups" in how
    assert "in only 0%" not in out


def test_days_alike_are_one_line_of_the_plan(say: Say, study: Path) -> None:
    text = study.read_text(encoding="utf-8").replace('blocks = ["day 1", "day 2"]\n', "")
    blades = "".join(
        f'[[blade]]\nname = "{group}{i}"\ngroup = "{group}"\nload = "one"\n'
        for group in "AB"
        for i in range(40)
    )
    study.write_text(text[: text.index("[[blade]]")] + blades, encoding="utf-8")
    code, out, err = say("study", "plan", study)
    assert code == 0, err
    days = [line for line in out.splitlines() if re.match(r"  day \d", line)]
    assert len(days) < 4 and re.match(r"  day 1 to day \d+, each [\d.]+ hours: pry", days[0])


def test_a_study_goes_from_file_to_report(say: Say, study: Path, tmp_path: Path) -> None:
    book = tmp_path / "t.logbook"
    code, out, _ = say("study", "new", study, book)
    assert code == 0 and "2 blades in 2 groups" in out and "mind: Group A has one blade" in out
    for name, group in (("A2", "A"), ("B2", "B")):
        blade = (f"name={name}", f"group={group}", "load=one", "angle_deg=15")
        assert say("study", "add", book, *blade)[0] == 0
    code, out, _ = say("study", "deal", book, "--seed", "7")
    assert code == 0 and "4 blades have their codes, 4 trials their order (seed 7;" in out
    labels = (tmp_path / "t.labels.html").read_text(encoding="utf-8")
    key = dict(re.findall(r'<td>(\w+)</td><td class="code">(\w+)</td>', labels))
    assert sorted(key) == ["A1", "A2", "B1", "B2"] and len(set(key.values())) == 4

    with Logbook.open(book, writable=False) as opened:
        bodies = [row.body for row in opened.journal(kind="study-order")]
    # Of the packed key, random letters, "A1" would come up by chance in one run of twenty.
    text = "".join(str({**body, "sealed": {**body["sealed"], "packed": ""}}) for body in bodies)
    assert "A1" not in text and "secret" not in text, "the key does not lie open in the logbook"
    code, out, _ = say("study", "next", book)
    assert code == 0 and "Trial 1 of 4: pry_to_failure on blade" in out
    assert re.search(r"specimen=[A-Z]{2}\d ['\"]side=left hand['\"]", out)
    assert "still sealed; 4 planned trials are left" in refused(say("compare", book))
    assert "4 planned trials are left; opened now" in refused(say("study", "unseal", book))
    code, out, _ = say("study", "unseal", book, "--reason", "a test")
    assert code == 0 and all(f"{code}  {blade}" in out for blade, code in key.items())
    code, out, _ = say("compare", book)
    assert (
        code == 0
        and "a difference of 25 % more or 20 % less matters" in out
        and "margin of 15 %" in out
    )
    assert "no trial counts" in out and "mind: 4 planned trials are not made" in out
    code, out, _ = say("report", book, "--json")
    told = json.loads(out)
    assert code == 0 and Path(told["report"]).is_file() and told["unsealed"] == ["a test"]
    code, out, _ = say("study", "show", book, "--json")
    assert code == 0 and json.loads(out)["unsealed"] is True


def test_dealing_again_with_the_shown_seed_opens_nothing(
    say: Say, study: Path, tmp_path: Path
) -> None:
    keys = []
    for name in ("one", "two"):
        book = tmp_path / f"{name}.logbook"
        say("study", "new", study, book)
        say("study", "deal", book, "--seed", "9")
        with Logbook.open(book, writable=False) as opened:
            order = kept.require(opened).order
        assert order is not None and order.seed == 9
        keys.append(order.key())
    assert keys[0] != keys[1]


def test_the_order_within_blocks_is_drawn_again_from_its_seed_and_the_codes(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    for name in ("A2", "A3", "B2", "B3"):
        study.write_text(
            study.read_text(encoding="utf-8")
            + f'[[blade]]\nname = "{name}"\ngroup = "{name[0]}"\nload = "one"\n',
            encoding="utf-8",
        )
    say("study", "new", study, book)
    say("study", "deal", book, "--seed", "9")
    with Logbook.open(book, writable=False) as opened:
        order = kept.require(opened).order
    assert order is not None
    blocks: dict[str, list[str]] = {}
    for trial in sorted(order.trials, key=lambda t: t.code):  # what anybody can see
        blocks.setdefault(trial.block, []).append(trial.code)
    again = random_order(dict(sorted(blocks.items())), 9 + 1)
    assert [t.code for t in order.trials] == [slot.blade for slot in again]


def test_labels_that_cannot_be_written_leave_the_codes_undealt(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    say("study", "new", study, book)
    nowhere = tmp_path / "nowhere" / "labels.html"
    assert "no such folder" in refused(say("study", "deal", book, "--out", nowhere))
    assert say("study", "deal", book)[0] == 0


def test_an_order_of_an_early_version_is_refused_in_one_line(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    say("study", "new", study, book)
    with Logbook.open(book, writable=True) as opened:
        opened.append(kept.ORDER, {"seed": 1, "digest": "00", "salt": "00", "trials": []})
    assert "dealt by an early version" in refused(say("study", "next", book))


def test_an_open_key_is_shown_again_and_not_recorded_as_new(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    say("study", "new", study, book)
    say("study", "deal", book)
    first = say("study", "unseal", book, "--reason", "a test")[1]
    second = say("study", "unseal", book)[1]
    assert "Unsealed, on record" in first and "Was unsealed at 20" in second
    assert first.splitlines()[:2] == second.splitlines()[:2]
    with Logbook.open(book, writable=False) as opened:
        assert len(kept.require(opened).unsealed) == 1


def test_a_label_sheet_left_beside_the_logbook_is_told(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    say("study", "new", study, book)
    say("study", "deal", book)
    assert "t.labels.html shows the key" in say("study", "next", book)[1]
    (tmp_path / "t.labels.html").unlink()
    assert "shows the key" not in say("study", "next", book)[1]


def test_when_all_is_made_and_open_the_next_step_is_to_compare(say: Say, tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    for n, blade in enumerate(made.code):
        made.pry(blade, 9.0 + n)
    made.book.close()
    assert "Next: bladerig study unseal" in say("study", "next", made.book.path)[1]
    say("study", "unseal", made.book.path)
    assert "Next: bladerig compare" in say("study", "next", made.book.path)[1]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "B1"', 'name = "A1"', "blade 'A1' is there twice"),
        ('group = "B"', 'group = "C"', "B1 is in group 'C', which is not there"),
        ('name = "B"\n', 'name = "B"\ncontrol = true\n', "more than one group is the control"),
        ("smallest = 1.25", "smallest = 0.25", "smallest and margin are ratios above 1"),
        ('name = "pry_torque"', 'name = "pry_tork"', "no response 'pry_tork'"),
        ('thickness = "0.30 mm"', 'thickness = "0.30 kg"', "mass"),
        ('thickness = "0.30 mm"', 'thicknes = "0.30 mm"', "did you mean thickness?"),
        ("margin = 1.15", 'margin = "a lot"', "is not a number"),
        ("margin = 1.15", "margin = nan", "margin"),
        ('primary = "pry_torque"', 'primary = "hardness"', "is not among the responses"),
        ('"day 1", "day 2"', '"day 1", "day 1"', "block 'day 1' is there twice"),
    ],
)
def test_a_study_file_with_a_fault_is_refused_in_one_line(
    say: Say, study: Path, tmp_path: Path, old: str, new: str, words: str
) -> None:
    study.write_text(STUDY.replace(old, new), encoding="utf-8")
    line = refused(say("study", "new", study, tmp_path / "t.logbook"))
    assert words in line and str(study) in line
    assert not (tmp_path / "t.logbook").exists()


def test_what_comes_too_early_or_too_late_is_refused_in_one_line(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    Logbook.create(book, title="no study").close()
    for command in (("study", "next"), ("study", "deal"), ("study", "unseal"), ("compare",),
                    ("study", "plan"), ("study", "show")):  # fmt: skip
        assert "holds no study" in refused(say(*command, book)), command
    say("study", "new", study, book)
    for command in (("study", "next"), ("study", "unseal"), ("compare",), ("report",)):
        assert "codes are not dealt yet" in refused(say(*command, book)), command
    say("study", "deal", book)
    assert "dealt already" in refused(say("study", "deal", book))
    assert "cannot be changed any more" in refused(say("study", "new", study, book))
    more = ("name=A9", "group=A", "load=one")
    assert "cannot be changed" in refused(say("study", "add", book, *more))
    assert "no such file" in refused(say("study", "plan", tmp_path / "none.toml"))


def test_a_blade_that_does_not_fit_is_refused_in_one_line(
    say: Say, study: Path, tmp_path: Path
) -> None:
    book = tmp_path / "t.logbook"
    say("study", "new", study, book)
    for settings, words in (
        (("name=A1", "group=A"), "blade 'A1' is there twice"),
        (("name=A9", "group=Q"), "group 'Q', which is not there"),
        (("name=A9", "group=A", "angle_deg=steep"), "'steep' is not a number"),
        (("name=A9", "group=A", "colour=red"), "unknown key"),
        (("name=A9",), "is missing"),
        (("name=A9", "group=A"), 'name the load, or write "unknown"'),
    ):
        assert words in refused(say("study", "add", book, *settings)), settings


def test_unfinished_and_invalid_trials_are_told_before_the_next_one(
    say: Say, tmp_path: Path
) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    made.pry("A1", 9.0, reasons=["the tip slipped"])
    made.run("pry_to_failure", outcome=None)
    made.book.close()
    code, out, _ = say("study", "next", made.book.path)
    assert code == 0 and "Run 2 (pry_to_failure) is unfinished" in out
    assert f"bladerig run pry_to_failure {made.book.path} --resume" in out
    assert "specimen=" not in out, "no new run is offered beside one that is open"
    assert f"did not count: {made.code['A1']} pry_to_failure (run 1): the tip slipped" in out


def test_a_pilot_tells_the_scatter_that_the_plan_rests_on(say: Say, tmp_path: Path) -> None:
    pilot = begin(tmp_path / "pilot.logbook", record({"A": 4}, control=None))
    for blade, torques in {"A1": (9.0, 9.2), "A2": (10.0, 10.3), "A3": (11.2, 11.0),
                           "A4": (10.4, 10.1)}.items():  # fmt: skip
        for torque in torques:
            pilot.pry(blade, torque, u=0.1, indication=["no load certificate"])
    pilot.book.close()
    asked = [response("pry_torque", scatter=0.5), response("hardness")]
    made = begin(tmp_path / "s.logbook", record({"A": 3, "B": 3}, asked))
    made.book.close()
    assert "still sealed" in refused(
        say("study", "plan", made.book.path, "--pilot", pilot.book.path)
    )
    with Logbook.open(pilot.book.path, writable=True) as book:
        kept.unseal(book, "pilot done")
    code, out, _ = say("study", "plan", made.book.path, "--pilot", pilot.book.path, "--json")
    assert code == 0
    pry, hard = json.loads(out)["plans"]
    # By hand: variance of the blades' mean logarithms 0.00667, less half of the trials' 0.000317:
    # 0.00651, a scatter of 8.1 %.
    assert "scatter 8.1 % on 4 blades of the pilot; planned with 14 %" in pry["source"]
    assert pry["plan"]["units"] > pry["point_units"], "planned with the limit of the scatter"
    assert [n for n, _ in pry["repeats"]] == [1, 2, 3] and pry["bench"] > 1
    assert "taken as usual" in hard["source"]


def test_the_export_of_a_study_holds_its_trials(say: Say, tmp_path: Path) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 2}))
    made.pry("A1", 9.0)
    made.book.close()
    code, out, _ = say("export", made.book.path, "--out", tmp_path / "t", "--json")
    names = {Path(path).name for path in json.loads(out)}
    assert code == 0
    assert {"study-trials.csv", "study-trials.parquet", "study-columns.csv"} <= names
