"""The hands' words that procedures use, done at the virtual tower, jig and cutting frame."""

import random
import zlib
from collections.abc import Callable, Mapping, Sequence

from rig.virtual.arm.draw import Made, group_of
from rig.virtual.arm.hands import JigHands
from rig.virtual.arm.plant import Jig
from rig.virtual.frame.hands import CuttingHands
from rig.virtual.frame.plant import CuttingFrame
from rig.virtual.tower.deeds import Done
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.parameters import SpecimenTruth, knife_on_rod
from rig.virtual.tower.plant import Tower

Detail = Mapping[str, float | str]


class Person:
    """Does what a step's `hand` says; an unknown word is a mistake in the procedure.

    Every specimen name stands for one blade with properties of its own, the same in every run.
    Without a `jig` (it stays at hand under that name) its words are unknown ones, and so are the
    frame's without a `frame`; `preload_nm` is what a pull begins with, `made` tells of each name
    how the blade is made.
    """

    def __init__(
        self, tower: Tower, seed: int = 0, jig: Jig | None = None, preload_nm: float = 0.05,
        frame: CuttingFrame | None = None, made: Made = group_of,
    ) -> None:  # fmt: skip
        self._tower = tower
        self.jig = jig
        self._at_jig = None if jig is None else JigHands(jig, seed, preload_nm, made)
        self.at_frame = None if frame is None else CuttingHands(frame, seed, made)
        self._hands = hands = Hands(tower, seed)
        self._words: dict[str, Callable[[Detail], float]] = {
            "lower": self._lower,
            "raise": lambda told: hands.raise_to(float(told["height_m"])),
            "lift": lambda _: hands.lift_off(),
            "rule": lambda told: hands.to_mark(float(told["mark_m"])),
            "load": self._load,
            "bare": self._bare,
            "ready": self._ready,
            "press": lambda _: hands.press_button(),
            "up": lambda _: hands.lift_off(),
            "down": lambda _: hands.lower_to_contact(),
            "commission": self._commission,
            "guard": lambda told: (
                hands.close_guard() if told["to"] == "closed" else hands.open_guard()
            ),
            "estop": lambda told: (
                hands.press_estop() if told["to"] == "pressed" else hands.reset_estop()
            ),
            "button": lambda told: hands.hold_button(told["to"] == "down"),
            "card": lambda told: hands.hold_card(told["to"] == "in"),
        }
        self._seed, self._made = seed, made
        self._fresh = True  # nothing was done yet

    def act(self, hand: str, detail: Detail) -> float:
        """Begin one action; gives the seconds it will take.

        Raises:
            ValueError: the virtual rig has no such action.
        """
        self._fresh = False
        if hand in self._words:
            end = self._words[hand](detail)
        elif self._at_jig is not None and self._at_jig.knows(hand):
            end = self._at_jig.act(hand, detail)
        elif self.at_frame is not None and self.at_frame.knows(hand):
            end = self.at_frame.act(hand, detail)
        else:
            raise ValueError(f"the virtual rig's person cannot '{hand}'")
        return max(0.0, end - self._tower.now_s)

    def recall(self, deeds: Sequence[Done]) -> float:
        """What was done before this rig was made; gives the seconds it takes to be there again.

        Blades at the frame are as worn as then; what was seated, set or hung at the arm is again,
        and a blade in the tower stands there with the blows it had.
        """
        if self.at_frame is not None:
            self.at_frame.recall(deeds)
        end = self._tower.now_s
        if self._at_jig is not None:
            end = max(end, self._at_jig.recall(deeds))
        put_in = [deed for deed in deeds if deed.hand in ("load", "bare")]
        if put_in and self._fresh:
            end = max(end, self._words[put_in[-1].hand](put_in[-1].detail))
            self._tower.schedule(end, lambda: self._strike_again(deeds))
        return max(0.0, end - self._tower.now_s)

    def _strike_again(self, deeds: Sequence[Done]) -> None:
        """What the blade in the tower has taken since it was put in, it has taken still."""
        last = max(n for n, deed in enumerate(deeds) if deed.hand in ("load", "bare"))
        for deed in deeds[last:]:
            if deed.hand == "struck":
                self._tower.specimen.struck(float(deed.detail["energy_j"]))

    def _lower(self, _: Detail) -> float:
        self._hands.open_guard()
        return self._hands.lower_to_contact()

    def _load(self, detail: Detail) -> float:
        self._hands.open_guard()
        return self._hands.load_specimen(self._blade(str(detail["specimen"])))

    def _commission(self, _: Detail) -> float:
        self._hands.open_guard()
        self._hands.press_estop()
        return self._hands.lower_to_contact()

    def _bare(self, _: Detail) -> float:
        self._hands.open_guard()
        return self._hands.load_specimen()

    def _ready(self, _: Detail) -> float:
        self._hands.reset_estop()
        self._hands.open_guard()
        return self._hands.close_guard()

    def damage(self) -> dict[str, str]:
        """What a look at the edge shows now: answers for a procedure's damage questions."""
        edge = self._tower.specimen
        return {
            "damage": edge.damage.value,
            "depth": f"{edge.depth_mm:.2f} mm",
            "width": f"{edge.width_mm:.2f} mm",
        }

    def tip(self) -> dict[str, str]:
        """What a look at the pried tip shows now: snapped, bent or whole."""
        return self._at_the_jig().tip()

    def edge_after_twist(self) -> dict[str, str]:
        """What a look along the twisted edge shows now: kind, affected length, depth."""
        return self._at_the_jig().edge()

    def sharpness(self) -> dict[str, str]:
        """What a probe of the edge in the cutting frame shows now: answers for its questions."""
        if self.at_frame is None:
            raise ValueError("the virtual rig has no cutting frame to look at")
        return self.at_frame.look()

    def _at_the_jig(self) -> JigHands:
        if self._at_jig is None:
            raise ValueError("the virtual rig has no jig to look at")
        return self._at_jig

    def _blade(self, name: str) -> SpecimenTruth:
        chance = random.Random(zlib.crc32(name.encode()) ^ self._seed)
        typical_j = self._made(name).toughness_j
        return knife_on_rod(toughness_j=typical_j * chance.lognormvariate(0.0, 0.15))
