"""`bladerig demo`, and what can be checked of its logbook afterwards."""

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from rig import bench as benches
from rig.cli import demostudy
from rig.cli.demo import _study as whole_study
from rig.commands import typed
from tests.cli.commands import ROOT, bladerig


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The demo's single tests as a newcomer runs them: its folder and what it prints."""
    folder = tmp_path_factory.mktemp("a demo")
    done = bladerig("demo", "--quick", "--out", folder)
    assert done.returncode == 0, done.stderr
    return folder, done.stdout


@pytest.fixture(scope="module")
def demo(first: tuple[Path, str]) -> dict[str, Any]:
    """A second one, on another rig, into the same folder."""
    told: dict[str, Any] = json.loads(
        bladerig("demo", "--quick", "--json", "--seed", 7, "--out", first[0]).stdout
    )
    return told


def test_the_readme_quotes_the_demo_as_it_is(first: tuple[Path, str]) -> None:
    block = (ROOT / "README.md").read_text(encoding="utf-8").split("Measured beside")[1]
    for line in block.split("```")[0].splitlines()[1:]:
        assert line in first[1], line


def test_the_next_command_can_be_typed_as_it_stands_though_the_folder_has_a_space(
    first: tuple[Path, str],
) -> None:
    (line,) = [line for line in first[1].splitlines() if line.startswith("Next:")]
    assert line.split(None, 1)[1] == typed("bladerig", "audit", first[0] / "demo.logbook")
    assert " " in str(first[0])


def test_every_energy_stands_beside_the_truth_and_within_its_uncertainty(
    demo: dict[str, Any],
) -> None:
    assert len(demo["drops"]) == 4
    for drop in demo["drops"]:
        # 95 % of rigs lie within U; 2 U allows this one rig to be unlucky, not wrong.
        assert abs(drop["energy_j"] - drop["true_energy_j"]) < 2 * drop["energy_U_j"]
        assert drop["energy_U_j"] < 0.01 * drop["energy_j"]


def test_the_second_strike_is_found_and_the_caught_rebounds_are_told(demo: dict[str, Any]) -> None:
    struck = [drop for drop in demo["drops"] if drop["second_strike_j"] is not None]
    assert len(struck) == 1 and not struck[0]["valid"]
    assert struck[0]["second_strike_j"] == pytest.approx(
        struck[0]["true_second_strike_j"], rel=0.06
    )
    assert [drop["caught"] for drop in demo["drops"]] == [
        drop["truly_caught"] for drop in demo["drops"]
    ]
    assert sum(drop["caught"] for drop in demo["drops"]) == 3


def test_its_logbook_audits_clean_recomputes_alike_and_has_a_report(demo: dict[str, Any]) -> None:
    assert bladerig("audit", demo["logbook"]).returncode == 0
    again = json.loads(bladerig("recompute", demo["logbook"], "--json").stdout)
    assert again["results"] > 100 and again["differing"] == [], "calibrations as well"
    for report in demo["reports"]:
        assert Path(report).stat().st_size > 40_000


def test_every_pry_stands_beside_the_truth_and_ends_as_it_truly_did(demo: dict[str, Any]) -> None:
    assert [pry["kind"] for pry in demo["pries"]] == ["snap", "bend"]
    for pry in demo["pries"]:
        assert pry["valid"] and pry["true_kind"] == pry["kind"]
        missed = abs(pry["peak_torque_nm"] - pry["true_peak_torque_nm"])
        assert missed < 2 * pry["peak_torque_U_nm"] < 0.03 * pry["peak_torque_nm"]


def test_the_demo_calibrates_first_and_nothing_is_an_indication_only(demo: dict[str, Any]) -> None:
    channels = [told.split(":")[0] for told in demo["certificates"]]
    assert channels == ["height", "load", "angle"]
    page = Path(demo["reports"][1]).read_text(encoding="utf-8")
    assert "load certificate of" in page and "indication only" not in page


def test_one_changed_byte_is_named_with_its_row(demo: dict[str, Any], tmp_path: Path) -> None:
    book = Path(demo["logbook"])
    with sqlite3.connect(book) as reading:
        number, body = reading.execute(
            "SELECT number, body FROM journal WHERE kind = 'permit' LIMIT 1"
        ).fetchone()
    reading.close()
    content = bytearray(book.read_bytes())
    at = content.index(body.encode())
    content[at + 5] ^= 1
    changed = tmp_path / "changed.logbook"
    changed.write_bytes(content)
    done = bladerig("audit", changed)
    assert done.returncode == 1
    assert f"journal row {number}:" in done.stdout
    assert "Traceback" not in done.stderr


def test_a_second_demo_overwrites_nothing_and_another_seed_is_another_rig(
    first: tuple[Path, str], demo: dict[str, Any]
) -> None:
    folder, text = first
    assert f"Logbook: {folder / 'demo.logbook'}" in text and (folder / "demo.logbook").exists()
    assert demo["logbook"] == str(folder / "demo-2.logbook")
    assert f"true {demo['drops'][0]['true_energy_j']:.3f} J" not in text


def test_the_edge_life_interval_holds_the_true_life(demo: dict[str, Any]) -> None:
    life = demo["edge_life"]
    assert life["valid"]
    assert (
        life["life"]["last_pass_cuts"] <= life["true_life_cuts"] <= life["life"]["first_fail_cuts"]
    )


BLADES = 2  # of each group; tests/bench/starting.py takes the whole study and its answers
COMPARED = ("pry_torque", "hardness")


def test_the_study_is_made_blind_trial_by_trial_and_its_page_says_what_it_could_have_seen(
    first: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = demostudy.record

    def small() -> dict[str, Any]:
        told = whole()
        kept = [one for one in told["response"] if one["name"] in COMPARED]
        return {**told, "response": kept, "settings": {}}

    monkeypatch.setattr(demostudy, "BLADES", BLADES)
    monkeypatch.setattr(demostudy, "record", small)
    folder, said = first[0], []
    bench = benches.practising(benches.load(None))
    study = whole_study(folder, bench, 1, said.append, folder / "demo.logbook")
    count = len(COMPARED) * 3 * BLADES
    assert study["trials"] == count == sum(line.startswith("  trial ") for line in said)
    assert not any(group in line for line in said for group in demostudy.TRUTH), "blind"
    headlines = [answer["headline"] for answer in study["answers"]]
    (pry,) = [line for line in headlines if line.startswith("Pry torque to failure:")]
    assert "in 80 of 100 such studies" in pry
    page = Path(study["report"]).read_text(encoding="utf-8")
    assert "Pry torque" in page and "Seal of the key" in page
