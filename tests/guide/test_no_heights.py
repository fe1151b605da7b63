"""A board that answers but sends no heights is told in seconds, not waited for in silence."""

import pytest

from rig.errors import RigError
from rig.guide import heights
from tests.guide.rigs import VirtualRig


def test_heights_that_do_not_come_are_told_with_the_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = VirtualRig()
    link = rig.device.link
    monkeypatch.setattr(link, "_samples", lambda _: None)
    link.position = None
    began = link.clock.now()
    with pytest.raises(RigError, match="no heights have come from the board") as caught:
        heights.touch(rig.device, rig.operator())
    assert link.clock.now() - began < 10.0
    assert "plug it in again" in caught.value.remedy and "--resume" in caught.value.remedy
