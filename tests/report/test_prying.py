"""The page of a pry: a tip that bent has failed, whether its angle can be stated or not."""

from pathlib import Path

import pytest

from rig.report.gather import gather
from rig.report.page import content
from rig.report.prying import PRY
from rig.virtual.arm.truth import Failure, TipTruth
from tests.guide.jigs import TIPS, JigRig

RISING = TipTruth(kind=Failure.BEND, plateau_nm=20.0)  # beyond what the arm's turn reaches


@pytest.mark.parametrize(
    ("tip", "kind", "angle"),
    [
        (TIPS["bend"], "bend", "no one angle: it bent on at its largest torque"),
        (RISING, "bend", "not reached: the torque still rose"),
        (TIPS["survived"], "survived", "no failure"),
    ],
)
def test_only_a_tip_that_held_has_no_failure(
    tmp_path: Path, tip: TipTruth, kind: str, angle: str
) -> None:
    path, _ = JigRig(tip).run(tmp_path, "pry_to_failure")
    (trial,) = gather(path, None).tested
    assert trial.result["kind"] == kind and "failure_angle" not in trial.result["measurands"]
    assert PRY.cells(trial)[2] == angle
    assert content(path, None)["trials"][0]["valid"]
