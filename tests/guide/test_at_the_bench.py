"""The table of prompts, hands and what runs, against the screen of every procedure in order."""

import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.fixtures.pages import ROOT
from tests.guide.clumsy import PROCEDURES, Session

PAGE = (ROOT / "procedures" / "at_the_bench.md").read_text(encoding="utf-8")
LOOSE = ("Raise the carriage to", "Let the arm back", "Zero", "Stop: ", "Leave the pin in",
         "wait for PRESS NOW", ": at DRAW NOW")  # fmt: skip
"""Parts of lines without a mark that hands follow as well."""
WITH_DAMAGE = ("? Depth", "? Width", "? How s", "? Length", "? …: contact is")
PIN = re.compile(
    r"[Pp]in in|pin out|[Cc]lamp (?:blade|the blunt)|then look|out by its spine|"
    r"take the rest out|hand lever until"
)
GLOVES = re.compile(
    r"[Gg]loves (?:on|off)|clamp blade|blade out|hand lever until|>> (?:PULL|TURN|DRAW|PRESS)"
)


@cache
def whole_screen(procedure: str) -> tuple[str, ...]:
    """All lines that a careful person reads in a whole run."""
    with TemporaryDirectory() as folder:
        session = Session(3, Path(folder), care=1.0, procedure=procedure).run()
    assert session.found == [] and session.end == "finished"
    return tuple(filter(str.strip, session.person.screen.getvalue().splitlines()))


@cache
def screen(procedure: str) -> tuple[str, ...]:
    """Of these the lines that ask for something."""
    return tuple(
        line
        for line in whole_screen(procedure)
        if line.startswith(("> ", "? ", ">> ")) or any(part in line for part in LOOSE)
    )


def rows(procedure: str) -> list[tuple[str, str, str]]:
    """The procedure's rows: screen, hands, what runs."""
    (section,) = [
        part for part in PAGE.split("\n## ")[1:] if procedure in part.partition("\n")[0].split(", ")
    ]
    cells = [re.split(r"(?<!\\)\|", line)[1:-1] for line in section.splitlines() if "|" in line]
    return [(a.strip(), b.strip(), c.strip()) for a, b, c in cells[2:]]


def shows(row: str, line: str) -> bool:
    """Whether a line of the screen is one of that row."""
    return re.match(".*".join(map(re.escape, row.split("…"))), line) is not None


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_every_line_that_asks_for_something_is_a_row_and_first_comes_in_its_order(
    procedure: str,
) -> None:
    table, first = rows(procedure), list[int]()
    for line in screen(procedure):
        found = [n for n, row in enumerate(table) if shows(row[0], line)]
        assert len(found) == 1, (line, [table[n] for n in found])
        if found[0] not in first:
            first.append(found[0])
    assert first == sorted(first), [table[n][0] for n in first]
    missing = {table[n][0] for n in range(len(table)) if n not in first}
    left = {row for row in missing if not row.startswith(WITH_DAMAGE)}
    assert not left


def test_nothing_is_moved_drawn_or_pressed_before_it_is_called_for_and_recorded() -> None:
    for procedure in PROCEDURES:
        for on_screen, hands, runs in rows(procedure):
            if runs.startswith("looks for"):
                continue  # nothing is used up by it, and the board looks for nothing else
            moves = re.search(r"\b(pull|lead|turn|draw|press)\b", hands)
            assert bool(moves) == on_screen.startswith(">> "), (procedure, on_screen)
            if moves:
                assert runs.startswith(("records", "counts"))


@pytest.mark.parametrize("procedure", ["drop_impact", "staircase_impact", "cuts_to_dull"])
def test_no_hand_goes_in_while_the_screen_last_said_pin_out(procedure: str) -> None:
    pin = ""
    for line in screen(procedure):
        for word in PIN.findall(line):
            if word.lower().startswith("pin "):
                pin = word.lower()
            elif word.startswith("hand lever"):
                assert pin == "pin out", line
            else:
                assert pin in ("pin in", ""), line


@pytest.mark.parametrize(
    "procedure", ["drop_impact", "staircase_impact", "cuts_to_dull", "calibrate_height"]
)
def test_the_line_over_a_prompt_says_pin_in_only_where_the_pin_is_in(procedure: str) -> None:
    pin, over, seen = "", list[str](), set[str]()
    for line in whole_screen(procedure):
        if line.startswith("! "):
            over.append(line.lower())
            continue
        said = re.findall(r"pin in\b|pin out", line.lower())
        for state in re.findall(r"pin in before a hand(?! goes)|pin out", " ".join(over)):
            now = "pin out" if state == "pin out" else "pin in"
            assert now in (said or [pin]), (over, line)
            seen.add(now)
        over = []
        pin = said[-1] if said and line.startswith("> ") else pin
    assert "pin in" in seen or procedure == "calibrate_height"
    assert "pin out" in seen or procedure in ("cuts_to_dull", "calibrate_height")


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_gloves_are_off_before_anything_moves_and_on_before_an_edge_is_touched(
    procedure: str,
) -> None:
    gloves = "off"
    for line in screen(procedure):
        for word in GLOVES.findall(line):
            if word.lower().startswith("gloves"):
                gloves = word.split()[1]
            elif word in ("clamp blade", "blade out"):
                assert gloves == "on", line
            else:
                assert gloves == "off", line


def test_no_hand_is_told_to_let_go_of_what_it_must_hold(tmp_path: Path) -> None:
    held = [line for line in screen("calibrate_angle") if "Hold the arm" in line]
    assert held and all("Hands off" not in line for line in held)


def test_the_place_on_the_edge_is_named_where_it_is_measured() -> None:
    (line,) = [line for line in screen("pry_to_failure") if line.startswith("? Thickness")]
    assert "6 mm from its point" in line
    (out,) = [line for line in screen("pry_to_failure") if line.startswith("? How far")]
    assert out.endswith("[0 mm]")
