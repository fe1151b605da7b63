"""A study file with faults: all of them at once, each where it stands."""

from pathlib import Path

import pytest

from rig.study.register.study_file import load
from rig.study.register.template import template
from rig.tables import FileFaults

FAULTY = """\
title = "Tempers"
question = "Which?"
primary = "pry_torq"
[[group]]
name = "one"
control = true
[[group]]
name = "two"
control = true
[[group.treatment]]
what = "quench"
[[group.treatment]]
what = "temper"
hold = "long"
[[response]]
name = "pry_torque"
smallest = 1.25
margin = 1.15
[[blade]]
name = "A1"
group = "one"
load = "L1"
thickness = "3 m"
[[blade]]
name = "A1"
group = "three"
load = "L1"
tip_thickness = "thin"
"""


def faults(folder: Path, text: str) -> list[str]:
    """The lines a study file is refused with, without its name."""
    path = folder / "s.toml"
    path.write_text(text)
    with pytest.raises(FileFaults) as told:
        load(path)
    return [line.removeprefix(str(path)) for line in told.value.faults]


def test_faults_of_entries_and_of_the_whole_are_told_at_once_and_counted_from_one(
    tmp_path: Path,
) -> None:
    told = faults(tmp_path, FAULTY)
    begins = [
        ": group: more than one group is the control",
        ":3: primary: 'pry_torq' is not among",
        ":14: group 2, treatment 2, hold: 'long' does not start with a number",
        ':23: blade 1, thickness: 3000 mm is no thickness of a blade; write it like "0.3 mm"',
        ":25: blade 2, name: blade 'A1' is there twice",
        ":26: blade 2, group: A1 is in group 'three', which is not there; there is one, two",
        ":28: blade 2, tip_thickness: 'thin'",
    ]
    assert len(told) == len(begins)
    for line, begin in zip(told, begins, strict=True):
        assert line.startswith(begin), line
    assert told[2].endswith("such as 10 min") and told[-1].endswith("such as 0.3 mm")


def test_what_does_not_fit_together_is_told_once_where_nothing_else_is_wrong(
    tmp_path: Path,
) -> None:
    (line,) = faults(tmp_path, template().replace('group = "two tempers"', 'group = "three"'))
    assert "blade 2, group: B1 is in group 'three'" in line


def test_entries_that_are_no_tables_are_told_and_nothing_breaks(tmp_path: Path) -> None:
    odd = 'title = "t"\nquestion = "q"\nprimary = 3\ngroup = "x"\nresponse = [1]\nblade = {}\n'
    told = "\n".join(faults(tmp_path, odd))
    for part in (":3: primary: ", ":4: group: ", "response 1", ":6: blade: "):
        assert part in told


def test_the_furnace_load_of_every_blade_is_asked_for_and_unknown_is_an_answer(
    tmp_path: Path,
) -> None:
    head, last = template().rsplit('load = "furnace 1"', 1)
    blank = head + last
    (line,) = faults(tmp_path, blank)
    assert "the furnace load of B1 is not said" in line and 'write "unknown"' in line
    number = blank[: blank.index('name = "B1"')].count("\n")
    assert line.startswith(f":{number}: blade 2: "), "the line of its table"
    (line,) = faults(tmp_path, f'{head}load = " "{last}')
    assert "blade 2, load: " in line
    answered = tmp_path / "answered.toml"
    answered.write_text(f'{head}load = "unknown"{last}')
    assert [blade.load for blade in load(answered).blade] == ["furnace 1", "unknown"]
