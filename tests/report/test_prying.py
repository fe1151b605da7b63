"""The page of a pry: a tip that bent has failed, whether its angle can be stated or not."""

from pathlib import Path

import pytest

from rig.report.gather import gather
from rig.report.page import content
from rig.report.prying import PRY
from tests.guide.jigs import TIPS, JigRig


@pytest.mark.parametrize(("tip", "angle"), [("bend", "none can be stated"),
                                            ("survived", "no failure")])  # fmt: skip
def test_only_a_tip_that_held_has_no_failure(tmp_path: Path, tip: str, angle: str) -> None:
    path, _ = JigRig(TIPS[tip]).run(tmp_path, "pry_to_failure")
    (trial,) = gather(path, None).tested
    assert trial.result["kind"] == tip and "failure_angle" not in trial.result["measurands"]
    assert PRY.cells(trial)[2] == angle
    assert content(path, None)["trials"][0]["valid"]
