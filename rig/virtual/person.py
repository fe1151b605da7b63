"""The hands' words that procedures use, done by `Hands` at the virtual tower."""

import random
import zlib
from collections.abc import Mapping

from rig.virtual.hands import Hands
from rig.virtual.parameters import SpecimenTruth, knife_on_rod
from rig.virtual.plant import Tower

Detail = Mapping[str, float | str]


class Person:
    """Does what a step's `hand` says; an unknown word is a mistake in the procedure.

    Every specimen name stands for one blade with a toughness of its own, the same in every run.
    """

    def __init__(self, tower: Tower, seed: int = 0) -> None:
        self._tower = tower
        self._hands = Hands(tower, seed)
        self._seed = seed

    def act(self, hand: str, detail: Detail) -> float:
        """Begin one action; gives the seconds it will take.

        Raises:
            ValueError: the virtual rig has no such action.
        """
        if hand == "lower":
            end = self._hands.lower_to_contact()
        elif hand == "raise":
            end = self._hands.raise_to(float(detail["height_m"]))
        elif hand == "lift":
            end = self._hands.lift_off()
        elif hand == "load":
            self._hands.open_guard()
            end = self._hands.load_specimen(self._blade(str(detail["specimen"])))
        elif hand == "bare":
            self._hands.open_guard()
            end = self._hands.load_specimen()
        elif hand == "ready":
            self._hands.reset_estop()
            self._hands.open_guard()
            end = self._hands.close_guard()
        elif hand == "press":
            end = self._hands.press_button()
        else:
            raise ValueError(f"the virtual rig's person cannot '{hand}'")
        return end - self._tower.now_s

    def damage(self) -> dict[str, str]:
        """What a look at the edge shows now: answers for a procedure's damage questions."""
        edge = self._tower.specimen
        return {
            "damage": edge.damage.value,
            "depth": f"{edge.depth_mm:.2f} mm",
            "width": f"{edge.width_mm:.2f} mm",
        }

    def _blade(self, name: str) -> SpecimenTruth:
        chance = random.Random(zlib.crc32(name.encode()) ^ self._seed)
        return knife_on_rod(toughness_j=5.0 * chance.lognormvariate(0.0, 0.15))
