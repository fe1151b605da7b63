"""The first power-up, whole, on the real image executed instruction by instruction."""

from pathlib import Path

from tests.bench.faults import emulated
from tests.guide.test_commission import commissioned


def test_the_real_image_is_commissioned_as_the_stand_in_is(tmp_path: Path) -> None:
    commissioned(tmp_path, emulated)
