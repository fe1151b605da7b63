"""A fault of somebody's own script is one line with its place, and never a traceback."""

from pathlib import Path

import pytest

from rig.guide.script import built_in, load
from rig.logbook import Logbook
from tests.cli.inside import done, refused, script

AT = 7  # the first line of the procedure's body

FAULTS = [
    ("x = 1\nyield Tell('a')\n1 / 0", AT + 2, "ZeroDivisionError: division by zero"),
    ("yield Tell('a')\nyield 42", AT + 1, "42 was yielded, which is no step"),
    ("return {'a': 1}", AT - 1, "procedure yields no steps"),
    ("yield Note('n', kind='n', body={'x': float('nan')})", AT, "finite"),
    ("yield Ask('?', key='k', kind='mas')", AT, "did you mean mass?"),
    ("yield Ask('?', key='k', kind='choice')", AT, "has no choices"),
    ("yield Do('x', hazards=('falling',))", AT, "did you mean falling_mass?"),
    ("yield Do('x', hand='juggle')", AT, "cannot 'juggle'"),
    ("yield Tell(5)", AT, "Tell: text=5 does not fit"),
    ("yield Tell('a')\nreturn 5", AT - 1, "returned 5"),
    ("yield Note('n', kind='step', body={})", AT, "written by the program alone"),
    ("yield Note('n', kind='verdict', body={'trial': 'a', 'valid': True})", AT,
     "a note of kind 'verdict' holds no verdict ('reasons' is missing): yield "
     "Verdict.judged(trial, specimen, result).note() of rig.guide.verdict"),
    ("yield Measure('m', measurand='dorp', trial='t', raw_id=None, settings={})", AT,
     "did you mean drop?"),
    ("yield Tell('a')\nraise SystemExit(3)", AT + 1, "SystemExit: 3"),
]  # fmt: skip


@pytest.mark.parametrize(("body", "line", "told"), FAULTS)
def test_a_fault_is_told_with_its_line_and_ends_the_run(
    tmp_path: Path, body: str, line: int, told: str
) -> None:
    mine, book = script(tmp_path, body), tmp_path / "b.logbook"
    said = refused("run", mine, book, "--virtual", typed="\n" * 9)
    assert told in said
    assert said.startswith(f"{mine}:{line}: ")
    assert said.endswith("; mend the script, then start a new run")
    with Logbook.open(book, writable=False) as kept:
        assert kept.runs()[0].outcome == "abandoned"
        assert [row.kind for row in kept.journal()].count("interrupted") == 1
    assert "1  " in done("runs", book)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("def procedure(params):\n    yield\n", ":1: procedure(params) takes other arguments"),
        ("procedure = 5\n", "is not a procedure"),
        ("raise SystemExit(1)\n", ":1: SystemExit: 1"),
        ("def procedure(params, bench)\n    yield\n", ":1: SyntaxError"),
        ("from rig.guide.parameters import Parameter\n"
         "PARAMETERS = (Parameter('x', 'mas', None, '?'),)\n"
         "def procedure(params, bench):\n    yield\n", "parameter 'x' is of kind 'mas'"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_procedure_is_refused_before_anything_is_begun(
    tmp_path: Path, text: str, told: str
) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text(text)
    assert told in refused("run", mine, tmp_path / "b.logbook", "--virtual")
    assert not (tmp_path / "b.logbook").exists()


def test_a_fault_in_a_script_named_by_a_relative_path_has_its_line_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    script(tmp_path, "yield Tell('a')\n1 / 0")
    assert refused("run", "./mine.py", "b.logbook", "--virtual").startswith("./mine.py:8: Zero")


def test_every_procedure_takes_who_tests(tmp_path: Path) -> None:
    mine, book = script(tmp_path, 'yield Tell("hello")\nreturn {}'), tmp_path / "b.logbook"
    done("run", mine, book, "operator=AB", "--virtual")
    with Logbook.open(book, writable=False) as opened:
        assert opened.runs()[0].params["operator"] == "AB"
    for name in built_in():
        assert [p.name for p in load(name).parameters].count("operator") == 1, name
