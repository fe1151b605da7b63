"""What was left out of a record stands beside the number that was made without it."""

from types import SimpleNamespace
from typing import Any, cast

import pytest

from rig.report.sections import left_out


@pytest.mark.parametrize(
    ("figures", "words"),
    [({}, ""), ({"load_spikes": 2.0}, "; 2 lone reading(s) of the load cell left out")],
)
def test_lone_readings_left_out_are_counted_on_the_page(
    figures: dict[str, float], words: str
) -> None:
    assert left_out(cast(Any, SimpleNamespace(result={"figures": figures}))) == words
