"""The two switches of the carriage's way: contacts that bounce, chatter, stick and break.

A contact pulls its pin low while it is closed. It bounces when it closes and when it opens.
"""

import random

from rig.virtual.tower.plant import Edge

PINS = ("NEAR", "FAR")
BOUNCES = 6
CHATTER_S = (0.2e-3, 5e-3)  # shorter than any level the board believes
CHATTERS = 4
FLICKER = "~"

FAULTS = {
    "near_stuck": "the near switch stays closed",
    "near_broken": "the near switch never closes",
    "far_stuck": "the far switch stays closed",
    "far_broken": "the far switch never closes",
    "switches_swapped": "near and far are wired to each other's pins",
    "switch_chatter": "both switches flicker in every stroke, for less than the board believes",
}


class Switches:
    """Contacts and pins of both ends.

    Args:
        bounce_s: longest bounce.
        rng: of its scatter.
    """

    def __init__(self, bounce_s: float, rng: random.Random) -> None:
        self._bounce_s, self._rng = bounce_s, rng
        self._closed = {"NEAR": True, "FAR": False}
        self._flickers: set[str] = set()
        self._faults: set[str] = set()
        self._pending: list[tuple[float, str, bool]] = []
        self._told = self.levels()

    def change(self, switch: str, closed: bool, t: float) -> None:
        """The carriage closes or opens a switch at `t`; its contact bounces about that."""
        times = sorted(
            t + self._rng.uniform(0.0, self._bounce_s)
            for _ in range(2 * self._rng.randrange(BOUNCES // 2 + 1))
        )
        level = closed
        for at in (t, *times):
            self._pending.append((at, switch, level))
            level = not level

    def chatter(self, begin_s: float, end_s: float) -> None:
        """Put the flicker of one stroke in, if that is its fault."""
        if "switch_chatter" not in self._faults:
            return
        for switch in PINS:
            for _ in range(CHATTERS):
                at = self._rng.uniform(begin_s, end_s)
                self._pending.append((at, switch + FLICKER, True))
                lasts_s = self._rng.uniform(*CHATTER_S)
                self._pending.append((at + lasts_s, switch + FLICKER, False))

    def fault(self, name: str, on: bool, t: float) -> None:
        """Bring about or mend a fault at `t`."""
        if name not in FAULTS:
            raise ValueError(f"no fault {name!r}; there are {', '.join(FAULTS)}")
        (self._faults.add if on else self._faults.discard)(name)
        self._pending.append((t, "", False))

    @property
    def next_s(self) -> float:
        """When a pin may change next by what has happened already."""
        return min(entry[0] for entry in self._pending) if self._pending else float("inf")

    def levels(self) -> dict[str, int]:
        """Pin levels now."""
        return {self._pin(switch): int(not self._seen(switch)) for switch in PINS}

    def take(self, until_s: float) -> list[Edge]:
        """Pin changes up to `until_s`, in time order."""
        if not self._pending:
            return []
        due = sorted(entry for entry in self._pending if entry[0] <= until_s)
        self._pending = [entry for entry in self._pending if entry[0] > until_s]
        edges = []
        for at, switch, level in due:
            if switch in self._closed:
                self._closed[switch] = level
            elif switch:
                change = self._flickers.add if level else self._flickers.discard
                change(switch.removesuffix(FLICKER))
            for pin, now in self.levels().items():
                if now != self._told[pin]:
                    self._told[pin] = now
                    edges.append(Edge(at, pin, now))
        return edges

    def _pin(self, switch: str) -> str:
        if "switches_swapped" not in self._faults:
            return switch
        return PINS[1 - PINS.index(switch)]

    def _seen(self, switch: str) -> bool:
        name = switch.lower()
        if f"{name}_stuck" in self._faults:
            return True
        if f"{name}_broken" in self._faults:
            return False
        return self._closed[switch] != (switch in self._flickers)
