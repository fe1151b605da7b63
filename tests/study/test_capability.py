"""Gauge study against published examples."""

import numpy as np
import pytest

from rig.errors import RigError
from rig.study.statistics.capability import crossed
from tests.published import load


def readings(case: str):  # type: ignore[no-untyped-def]
    return list(load(case)["inputs"]["readings"].values())


def test_the_analysis_of_variance_agrees_with_the_manual() -> None:
    """AIAG Measurement Systems Analysis, 4th ed., chapter III, 10 parts x 3 operators x 3."""
    expected = load("gauge_rr_10x3x3_anova")["expected"]
    told = crossed(readings("gauge_rr_10x3x3_anova"))
    names = {"operators": "operator", "blades": "part", "interaction": "interaction",
             "repeatability": "repeatability"}  # fmt: skip
    for line in told.table:
        assert line.ss == pytest.approx(expected["ss"][names[line.source]], abs=6e-5)
        assert line.ms == pytest.approx(expected["ms"][names[line.source]], abs=6e-6)
    assert told.p_interaction == pytest.approx(expected["p_interaction"], abs=6e-5)
    assert told.interaction is None  # pooled
    assert told.repeatability == pytest.approx(expected["EV"], abs=2e-6)
    assert told.reproducibility == pytest.approx(expected["AV"], abs=6e-6)
    assert told.gauge == pytest.approx(expected["GRR"], abs=2e-6)
    assert told.blades == pytest.approx(expected["PV"], abs=6e-6)
    assert told.total == pytest.approx(expected["TV"], abs=6e-4)
    assert told.distinct == pytest.approx(expected["ndc"], abs=2e-3)
    assert 100 * told.share(told.gauge) == pytest.approx(expected["pct_study"]["GRR"], abs=0.06)
    for sd, name in ((told.repeatability, "EV"), (told.reproducibility, "AV"),
                     (told.gauge, "GRR"), (told.blades, "PV")):  # fmt: skip
        assert 100 * told.contribution(sd) == pytest.approx(
            expected["pct_contribution"][name], abs=0.06
        )
    assert "few_levels" in {reason.name for reason in told.reasons}  # 4 after rounding down


def test_a_true_interaction_is_not_pooled() -> None:
    rng = np.random.default_rng(8)
    blades, mixed = rng.normal(0, 3, (1, 12, 1)), rng.normal(0, 1, (4, 12, 1))
    told = crossed((blades + mixed + rng.normal(0, 0.2, (4, 12, 3))).tolist())
    assert told.interaction == pytest.approx(1.0, rel=0.3)
    assert told.repeatability == pytest.approx(0.2, rel=0.2)


def test_readings_without_any_scatter_do_not_crash() -> None:
    told = crossed([[[1.0, 1.0], [2.0, 2.0]], [[1.0, 1.0], [2.0, 2.0]]])
    assert told.gauge == 0 and told.blades > 0


@pytest.mark.parametrize(
    "given",
    [
        [[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]],
        [[[1.0, 2.0], [1.0, 3.0]]],
        [[[1.0], [2.0]], [[1.0], [3.0]]],
        [],
    ],
)
def test_an_uneven_study_is_refused(given: list[list[list[float]]]) -> None:
    with pytest.raises(RigError, match="capability study"):
        crossed(given)
