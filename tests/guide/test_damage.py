"""Damage as it is entered: a size, or none with how little would have been seen."""

import math
from typing import Any

import pytest

from procedures.lib import blow, damage
from rig.guide.answers import understood
from rig.guide.steps import Ask, Note, Passage

SIZES = {"depth_m": ("Depth", damage.DEPTH), "length_m": ("Length", damage.ALONG)}


def entered(passage: Passage[dict[str, Any]], **typed: str) -> tuple[dict[str, Any], list[str]]:
    """What came out when questions are answered by their key, and the keys asked for."""
    asked: list[str] = []
    try:
        step = next(passage)
        while True:
            given: Any = {}
            if isinstance(step, Ask):
                asked.append(step.key)
                given = understood(step, typed.get(step.key, step.default))
            elif isinstance(step, Note):
                assert step.kind == "damage"
            step = passage.send(given)
    except StopIteration as end:
        return end.value, asked


def test_none_is_nought_with_the_uncertainty_of_what_would_not_have_been_seen() -> None:
    """Anywhere from 0 to a: the mean square about 0 is a²/3 (JCGM 100:2008, 4.3.7 and G.5.3)."""
    found, asked = entered(
        damage.entered("t", "Damage", SIZES, damage.Eye()), damage="none", smallest="0.03 mm"
    )
    assert asked == ["damage", "smallest"]
    assert found["depth_m"] == found["length_m"] == 0
    assert found["smallest_m"] == pytest.approx(3e-5)
    assert found["u_m"] == pytest.approx(3e-5 / math.sqrt(3))


def test_a_site_without_damage_has_an_uncertainty_of_its_own_by_default() -> None:
    found, _ = entered(blow.look("K3 drop 1", damage.Eye()), damage="none")
    assert found["u_m"] == pytest.approx(5e-5 / math.sqrt(3))


def test_damage_that_was_seen_keeps_the_uncertainty_of_its_reading() -> None:
    found, asked = entered(
        blow.look("K3 drop 1", damage.Eye()),
        damage="chip",
        depth="0.3 mm",
        width="1 mm",
        u="0.02 mm",
    )
    assert asked == ["damage", "depth", "width", "u"] and "smallest_m" not in found
    assert (found["depth_m"], found["width_m"], found["u_m"]) == pytest.approx((3e-4, 1e-3, 2e-5))
