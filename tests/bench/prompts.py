"""How much a person must confirm, answer and read: single tests, and a study of nine blades.

Through the real command line on the virtual rig. Counted are what the operator is shown and asked;
the bar is what it was before the checks of a session were asked once: no more may creep in. How
many words there are has no bar: what safety.md lists must be said.
"""

import json
import tempfile
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from rig.cli.main import cli
from tests.bench.figure import at_most, figure
from tests.cli.atbench import AtTheBench

HARDNESS = {"block_hrc": "60", "block_U": "0.4", "block_before": "60.3", "block_after": "60.3",
            "thickness": "3 mm", "blade": "60.5"}  # fmt: skip
SECTION = {"thickness": "1.2 mm", "width": "8 mm", "section_at": "0 mm"}
MEDIA = {"lot": "virtual", "media_thickness": "4 mm"}
ANSWERS = {"hardness": HARDNESS, "pry_to_failure": SECTION, "cuts_to_dull": MEDIA}
STUDIED = "study of 9 blades, 3 tests"
# Hardness asks one more than before: the number of the check block, once a session.
BEFORE = {"drop_impact": 21, "pry_to_failure": 18, "cuts_to_dull": 114, "edge_twist": 15,
          "hardness": 26, STUDIED: 464}  # fmt: skip
SINGLE = {
    "drop_impact": ("energy=5 J",),
    "pry_to_failure": (),
    "cuts_to_dull": ("first=10", "ratio=1.15"),
    "edge_twist": (),
    "hardness": (),
}
STUDY = """\
title = "t"
question = "q"
primary = "pry_torque"
[[response]]
name = "hardness"
smallest = 1.0
margin = 1.0
[[response]]
name = "impact_damage"
smallest = 0.2
margin = 0.1
[[response]]
name = "pry_torque"
smallest = 1.25
margin = 1.15
[settings.drop_impact]
energy = "5 J"
"""


def study_file() -> str:
    """Three groups of three blades: hardness, one drop, one pry each."""
    groups = "".join(f'[[group]]\nname = "{g}"\ncontrol = {str(g == "A").lower()}\n' for g in "ABC")
    blades = "".join(
        f'[[blade]]\nname = "{g}{n}"\ngroup = "{g}"\nload = "{g}{n}"\n'
        for g in "ABC"
        for n in "123"
    )
    return STUDY + groups + blades


def figures() -> list[dict[str, Any]]:
    """Two for each single test, and two for the study."""
    told = []
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        person = AtTheBench().sits(patch)
        for procedure, given in SINGLE.items():
            _begin(person, procedure)
            book = Path(folder) / f"{procedure}.logbook"
            _typed("run", procedure, book, "specimen=K3", *given, "--virtual")
            told += _figures(procedure, person)
        _begin(person, "hardness")
        _study(person, Path(folder))
        told += _figures(STUDIED, person)
    return told


def _study(person: AtTheBench, folder: Path) -> None:
    book = folder / "s.logbook"
    (folder / "s.toml").write_text(study_file(), encoding="utf-8")
    _typed("study", "new", folder / "s.toml", book)
    _typed("study", "deal", book)
    while (one := json.loads(_typed("study", "next", book, "--json")))["left"]:
        person.answers = dict(ANSWERS.get(one["procedure"], {}))
        _typed("run", one["procedure"], book, f"specimen={one['code']}", "--virtual")


def _begin(person: AtTheBench, procedure: str) -> None:
    person.answers = dict(ANSWERS.get(procedure, {}))
    person.prompts = person.words = 0


def _figures(what: str, person: AtTheBench) -> list[dict[str, Any]]:
    return [
        at_most(f"prompts of a {what}", person.prompts, "prompts", BEFORE[what]),
        figure(f"words of a {what}", person.words, "words", "none", True),
    ]


def _typed(*args: object) -> str:
    told = CliRunner().invoke(cli, [*map(str, args)], standalone_mode=False)
    if told.exception is not None:
        raise told.exception
    return told.stdout
