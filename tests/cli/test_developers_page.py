"""The scripts that the page for contributors shows run as they stand there."""

import csv
import json
import re
from pathlib import Path

import pytest

from rig.logbook import Logbook
from tests.cli.inside import done
from tests.study.books import begin, record, response

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
BLADES = {"A1": 1.0, "A2": 1.1, "B1": 0.6, "B2": 0.7}


def scripts() -> list[str]:
    """The scripts of the page, in its order."""
    return re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


def test_the_first_script_runs_and_its_note_is_on_its_page(tmp_path: Path) -> None:
    mine, book = tmp_path / "weigh.py", tmp_path / "b.logbook"
    mine.write_text(scripts()[0])
    done("run", mine, book, "piece=anvil", "--virtual", typed="12 kg\n")
    page = tmp_path / "p.html"
    done("report", book, "--out", page)
    assert "<th>mass: mass</th><td>12 kg</td>" in page.read_text(encoding="utf-8")


def test_a_procedure_of_ones_own_that_notes_a_verdict_enters_its_study(tmp_path: Path) -> None:
    mine, path = tmp_path / "sharpness.py", tmp_path / "tempers.logbook"
    mine.write_text(scripts()[1])
    loads = {blade: f"load {blade}" for blade in BLADES}
    study = record({"A": 2, "B": 2}, [response("starting_sharpness")], loads=loads)
    made = begin(path, study)
    blades = {code: blade for blade, code in made.code.items()}
    made.book.close()
    for trial in made.order.trials:
        force = BLADES[blades[trial.code]]
        slipped = "yes" if blades[trial.code] == "B2" else "no"
        typed = "".join(f"{force + place / 100:.2f}\n" for place in range(5)) + f"{slipped}\n"
        done("run", mine, path, "--virtual", typed=typed)
    assert "are made. Next: bladerig study unseal" in done("study", "next", path)
    with Logbook.open(path, writable=True) as book:
        made.book = book
        made.unseal()
    (answer,) = json.loads(done("compare", path, "--json"))["answers"]
    (out,) = answer["excluded"]
    assert out["reasons"] == ["the thread slipped"], "the first three count"
    tables = tmp_path / "tables"
    done("export", path, "--out", tables)
    with (tables / "study-trials.csv").open(newline="") as file:
        counted = {row["blade"]: row["starting_sharpness"] for row in csv.DictReader(file)
                   if row["counts_in"] == "starting_sharpness"}  # fmt: skip
    medians = {blade: force + 0.02 for blade, force in BLADES.items() if blade != "B2"}
    assert {blade: float(value) for blade, value in counted.items()} == pytest.approx(medians)


def test_every_file_that_the_page_says_to_change_is_there() -> None:
    table = PAGE.read_text(encoding="utf-8").split("## Which page changes with which change")[1]
    named = set(re.findall(r"`((?:[a-z_]+/)+[a-zA-Z_*]*(?:\.[a-z]+)?)`", table))
    assert {"rig/board/wire.py", "rig/guide/kinds.py", "rig/guide/verdict.py"} <= named
    missing = [name for name in named if not list(PAGE.parent.glob(name))]
    assert missing == []
