"""What was left out of a record stands beside the number that was made without it."""

from types import SimpleNamespace
from typing import Any, cast

import pytest

from rig.report import impact
from rig.report.sections import left_out


@pytest.mark.parametrize(
    ("figures", "words"),
    [({}, ""), ({"load_spikes": 2.0}, "; 2 lone reading(s) of the load cell left out")],
)
def test_lone_readings_left_out_are_counted_on_the_page(
    figures: dict[str, float], words: str
) -> None:
    assert left_out(cast(Any, SimpleNamespace(result={"figures": figures}))) == words


def test_a_drop_whose_rise_was_no_free_flight_says_that_its_second_strike_is_not_stated() -> None:
    def cell(figures: dict[str, float]) -> str:
        result = {"measurands": {}, "figures": figures, "caught": False, "reasons": []}
        trial = SimpleNamespace(result=result, verdict=None, settings={})
        return impact._second(trial)  # type: ignore[arg-type]

    assert "no free flight" in cell({"rise_unlike_fall": 1.8})
    assert cell({}) == "none seen"
