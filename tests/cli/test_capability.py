"""`bladerig bench capability`: a published gauge study by command, from table and from logbook."""

import json
from functools import partial
from pathlib import Path

import pytest

from rig.cli.ending import ended
from rig.cli.main import cli
from rig.logbook import Logbook
from tests.published import load
from tests.study.books import result

CASE = "gauge_rr_10x3x3_anova"


def published() -> list[tuple[str, str, float]]:
    """(blade, operator, value) of the manual's example."""
    given = load(CASE)["inputs"]["readings"]
    return [
        (f"K{blade}", name, value)
        for name, rows in given.items()
        for blade, values in enumerate(rows)
        for value in values
    ]


def table(path: Path, rows: list[tuple[str, str, object]]) -> Path:
    """The readings as a CSV table, with a column nobody asked for."""
    lines = ["blade,operator,day,value", *(f"{b},{o},1,{v}" for b, o, v in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def capability(*args: object) -> int:
    """The command, in this process."""
    return ended(partial(cli.main, ["bench", "capability", *map(str, args)]))


def test_the_command_agrees_with_the_manual(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """AIAG Measurement Systems Analysis, 4th ed., chapter III."""
    expected = load(CASE)["expected"]
    path = table(tmp_path / "r.csv", published())
    assert capability(path, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["repeatability"] == pytest.approx(expected["EV"], abs=2e-6)
    assert told["reproducibility"] == pytest.approx(expected["AV"], abs=6e-6)
    assert told["bench_and_operators"] == pytest.approx(expected["GRR"], abs=2e-6)
    assert told["distinct_levels"] == int(expected["ndc"]) == 4
    assert capability(path) == 0
    out = capsys.readouterr().out
    assert "10 blades, 3 operators, 3 readings each" in out
    assert "Levels that can be told apart: 4" in out and "Only 4 levels" in out
    assert "With 95 % confidence the true number of levels is between" in out
    assert out.splitlines()[-1].startswith("Next: ")
    assert " ." not in out and told["intervals_95"]["distinct_levels"][0] < expected["ndc"]


def test_a_logbook_gives_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "h.logbook"
    with Logbook.create(path, title="h") as book, book.transaction():
        for number, (blade, operator, value) in enumerate([("K1", "opA", 99.0), *published()]):
            run = book.start_run("hardness", "5eed", {"operator": operator}, {"device": "port"})
            stored = book.store_result(
                run, blade, "hardness", result({"hardness": (value, 0.1)}), []
            )
            void = number == 0
            body = {"trial": f"{blade} hardness", "specimen": blade, "valid": not void,
                    "reasons": ["dents too near"] * void, "result_id": stored}  # fmt: skip
            book.append("verdict", body, run)
            book.end_run(run, "finished", "done")
    assert capability(path, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["repeatability"] == pytest.approx(load(CASE)["expected"]["EV"], abs=2e-6)
    assert told["left_out"] == ["K1 hardness: dents too near"]
    assert capability(path, "--measurand", "depth") == 2
    assert "holds no 'depth' of any trial" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (published()[:-1], "opC read blade K9 2 times, others 3 times"),
        ([*published(), ("K9", "opA", "soft")], "r.csv:92: 'K9', 'opA', 'soft' is no reading"),
        ([("K1", "A", 1.0), ("K2", "A", 2.0)], "1 operator, 2 blades, 1 repeat"),
        ([], "has no readings"),
    ],
)
def test_what_cannot_be_judged_is_refused_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], rows: list[tuple[str, str, object]],
    words: str,
) -> None:  # fmt: skip
    assert capability(table(tmp_path / "r.csv", rows)) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert words in line


def test_a_table_without_its_columns_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "r.csv"
    path.write_text("part,value\nK1,2\n", encoding="utf-8")
    assert capability(path) == 2
    assert "has no column blade and operator" in capsys.readouterr().err
    assert capability(tmp_path / "none.csv") == 2
    assert "cannot be read" in capsys.readouterr().err
