"""The guided hardness readings, typed in by a person."""

import re
from pathlib import Path

from rig.guide import script as scripts
from rig.guide.parameters import read_all
from rig.guide.recompute import recompute
from tests.guide.rigs import VirtualRig, new_book, run

TYPED = {
    "block_hrc": ["60"],
    "block_before": ["60.2", "60.5", "60.0", "60.7", "60.6"],
    "block_after": ["60.1", "60.6", "60.3", "60.5", "60.5"],
    "blade": ["61", "605", "sixty", "61.5 HRC", "60.5", "61.8", "61.2"],
    "thickness": ["3 mm"],
}


def test_readings_off_the_scale_or_no_numbers_are_asked_again(tmp_path: Path) -> None:
    script = scripts.load("hardness")
    with new_book(tmp_path) as book:
        _, told = run(book, VirtualRig(), script, read_all(script.parameters, {"specimen": "K3"}),
                      answers=TYPED)  # fmt: skip
        assert told["valid"] and abs(told["hardness_hrc"] - 60.8) < 0.01
        path = book.path
    assert all(one.same for one in recompute(path))


def test_the_last_line_gives_value_and_uncertainty_to_the_same_decimal(tmp_path: Path) -> None:
    script, shown = scripts.load("hardness"), list[str]()
    rig = VirtualRig(hook=lambda _, text: shown.append(text))
    with new_book(tmp_path) as book:
        run(book, rig, script, read_all(script.parameters, {"specimen": "K3"}), answers=TYPED)
    assert re.search(r"hardness: \d\d\.\d\d ± 0\.[1-9]\d HRC", shown[-1]), shown[-1]


def test_how_far_the_check_block_moved_is_told(tmp_path: Path) -> None:
    script, shown = scripts.load("hardness"), list[str]()
    rig = VirtualRig(hook=lambda _, text: shown.append(text))
    after = {"block_after": ["60.8", "61.2", "60.9", "61.1", "61.0"]}
    with new_book(tmp_path) as book:
        run(book, rig, script, read_all(script.parameters, {"specimen": "K3"}),
            answers={**TYPED, **after})  # fmt: skip
    (said,) = [text for text in shown if text.startswith("Check block (")]
    assert "60.40 HRC before, 61.00 HRC after (it moved by +0.60)" in said
