"""The guided twist on the virtual rig."""

from pathlib import Path

import pytest

from rig.guide.recompute import recompute
from rig.logbook.audit import audit
from rig.report import page
from tests.guide.jigs import TIPS, JigRig


@pytest.fixture(scope="module")
def twisted(tmp_path_factory: pytest.TempPathFactory) -> tuple[JigRig, Path, dict[str, object]]:
    rig = JigRig(TIPS["snap"])
    path, told = rig.run(tmp_path_factory.mktemp("twist"), "edge_twist", cycles="4")
    return rig, path, dict(told)


def test_the_largest_torque_holds_the_truth_and_every_cycle_is_found(
    twisted: tuple[JigRig, Path, dict[str, object]],
) -> None:
    rig, _, told = twisted
    truth = rig.jig.twists[-1]
    assert told["valid"], told["reasons"]
    largest = max(*truth.right_nm, *truth.left_nm)
    assert len(truth.right_nm) == 4
    peak, expanded = float(str(told["peak_torque_nm"])), float(str(told["peak_torque_U_nm"]))
    assert abs(peak - largest) <= expanded


def test_its_logbook_audits_recomputes_and_has_a_page_that_says_there_is_no_standard(
    twisted: tuple[JigRig, Path, dict[str, object]],
) -> None:
    _, path, _ = twisted
    assert audit(path) == []
    assert all(one.same for one in recompute(path))
    text = page.write(path, None, None).read_text(encoding="utf-8")
    assert "No published standard" in text and "4 cycles laid over each other" in text


def test_the_damage_is_asked_for_before_any_torque_of_the_trial_is_shown(tmp_path: Path) -> None:
    shown: list[str] = []
    rig = JigRig(TIPS["snap"], hook=lambda _, text: shown.append(text))
    rig.run(tmp_path, "edge_twist", cycles="2")
    (asked,) = [at for at, text in enumerate(shown) if text.startswith("How ")]  # of its size
    (told,) = [at for at, text in enumerate(shown) if "largest torque" in text]
    assert asked < told
