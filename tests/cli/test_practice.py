"""Practice: Enter answers what the virtual rig shows."""

from pathlib import Path

from rig.logbook import Logbook
from tests.cli.inside import done

SECTION = ["", "", "", "", "2.0 mm", "8 mm", "2 mm", ""]


def test_enter_at_a_look_answers_what_the_virtual_tip_shows(tmp_path: Path) -> None:
    book = tmp_path / "b.logbook"
    said = done(
        "run", "pry_to_failure", book, "specimen=K3", "--virtual",
        typed="\n".join([*SECTION, *[""] * 16]),
    )  # fmt: skip
    assert "(snapped / bent / whole) [snapped]" in said
    with Logbook.open(book, writable=False) as opened:
        (row,) = opened.journal(kind="verdict")
    assert "snap" in str(row.body)
