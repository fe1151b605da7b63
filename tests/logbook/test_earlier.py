"""Logbooks of the version before verdicts had a type say today what they said then."""

from pathlib import Path

import pytest

from rig.logbook.audit import audit
from tests.logbook import earlier


@pytest.mark.parametrize("name", earlier.BOOKS)
def test_an_earlier_logbook_says_what_it_said_then_and_no_byte_of_it_is_changed(
    tmp_path: Path, name: str
) -> None:
    path = earlier.unpacked(name, tmp_path)
    before = path.read_bytes()
    assert earlier.said_now(path) == earlier.said_then(name)
    assert path.read_bytes() == before and audit(path) == []
