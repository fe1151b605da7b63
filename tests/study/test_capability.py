"""Gauge study and precision across laboratories against published examples."""

import numpy as np
import pytest

from rig.errors import RigError
from rig.study.statistics.capability import (
    across_laboratories,
    by_ranges,
    crossed,
    mean_range,
    rms_range,
)
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


def test_averages_and_ranges_agree_with_the_manual() -> None:
    """The same chapter; K1, K2 and K3 are computed here, the manual prints four decimals."""
    given = load("gauge_rr_10x3x3_range")
    expected = given["expected"]
    assert 1 / mean_range(3) == pytest.approx(given["inputs"]["K1"], abs=6e-5)
    assert 1 / rms_range(3) == pytest.approx(given["inputs"]["K2"], abs=6e-5)
    assert 1 / rms_range(10) == pytest.approx(given["inputs"]["K3"], abs=6e-5)
    told = by_ranges(readings("gauge_rr_10x3x3_range"))
    assert told.repeatability == pytest.approx(expected["EV"], abs=1.2e-4)
    assert told.reproducibility == pytest.approx(expected["AV"], abs=1.2e-4)
    assert told.gauge == pytest.approx(expected["GRR"], abs=1.2e-4)
    assert told.blades == pytest.approx(expected["PV"], abs=3e-4)
    assert told.distinct == pytest.approx(expected["ndc"], abs=2e-3)


@pytest.mark.parametrize("material", "ABCDE")
def test_precision_across_laboratories_agrees_with_the_practice(material: str) -> None:
    """ASTM E691-99, glucose in serum (table from memory, reproduced)."""
    given = load("astm_e691_glucose")
    cells = [list(cell) for cell in given["inputs"]["cells"][material]]
    if material == "C":
        assert across_laboratories(cells).s_r == pytest.approx(2.7483, abs=2e-4)
        cells[3][1] = 138.30  # the clerical error, corrected
    told, expected = across_laboratories(cells), given["expected"]["corrected"][material]
    assert told.average == pytest.approx(expected["average"], abs=1.2e-4)
    assert told.s_r == pytest.approx(expected["s_r"], abs=1.2e-4)
    assert told.s_big_r == pytest.approx(expected["s_R"], abs=1.2e-4)
    negative = {reason.name for reason in told.reasons} == {"negative_component"}
    assert negative == (material == "A")


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
