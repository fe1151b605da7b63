"""The hands' words at the cutting frame, and what an eye sees of the edge."""

import random
from collections.abc import Callable, Iterable, Mapping

from rig.virtual.arm.draw import Made, group_of
from rig.virtual.frame.plant import CuttingFrame, Draw
from rig.virtual.frame.wear import PLACES, CuttingEdge, WearTruth, blade_wear, fresh_edge
from rig.virtual.tower.deeds import Done

Detail = Mapping[str, float | str]

CLAMP_S, FEED_S = 5.0, 4.0
MARKS = 10  # that anybody grades in practice
STROKE_S, STROKE_SCATTER, SHORTEST_S = 1.6, 0.1, 0.8
MARKS = 10  # that anybody grades in practice
PARTIAL, HESITANT = 0.01, 0.02  # share of strokes


class CuttingHands:
    """Does the frame's words.

    Attributes:
        partial, hesitant: share of strokes that turn back early, and of those that falter.
        stroke_s: how long one takes.
        wears: how the next blade that is mounted wears (None: as its name says).
    """

    def __init__(self, frame: CuttingFrame, seed: int = 0, made: Made = group_of) -> None:
        self._frame, self._seed, self._made = frame, seed, made
        self._rng = random.Random(seed)
        self.partial, self.hesitant, self.stroke_s = PARTIAL, HESITANT, STROKE_S
        self.wears: WearTruth | None = None
        self._edges: dict[str, CuttingEdge] = {}
        self._looked_at: CuttingEdge | None = None
        self._words: dict[str, Callable[[Detail], float]] = {
            "mount": self._mount,
            "take_out": self._take_out,
            "feed": self._feed,
            "strokes": self._strokes,
            "far": lambda _: frame.draw(Draw((0.0, 1.0), STROKE_S)),
            "home": lambda _: frame.bring_home(),
        }

    def knows(self, hand: str) -> bool:
        """Whether this is one of the frame's words."""
        return hand in self._words

    def act(self, hand: str, detail: Detail) -> float:
        """Begin one action; gives the plant time of its end."""
        return self._words[hand](detail)

    def recall(self, deeds: Iterable[Done]) -> None:
        """Blade, sheet and wear as they were left; nothing once these hands have done something."""
        if self._edges:
            return
        for done in deeds:
            if done.hand in ("mount", "take_out", "feed"):
                self._words[done.hand](done.detail)
            elif done.hand == "strokes":
                self._frame.wear(done.strokes)

    def look(self) -> dict[str, str]:
        """Answers for a probe of the edge now, and for a look at it."""
        edge = self._looked_at
        if edge is None:
            return {}
        seen = {"severing": f"{edge.read_n(self._rng.randrange(PLACES)):.3f} N"}
        for kind in ("shave", "paper"):
            grades = ["pass" if edge.passes(kind, place) else "fail" for place in range(MARKS)]
            seen |= {f"{kind}_{n}": " ".join(grades[:n]) for n in range(1, MARKS + 1)}
        return {**seen, "edge_look": edge.look()}

    def true_life_cuts(self, name: str, sheet: str) -> float:
        """How many cuts in that sheet the edge of a blade truly shaves for."""
        return self.edge_of(name).shaves_until_cuts() / self._frame.harshness_of(sheet)

    def _mount(self, told: Detail) -> float:
        self._looked_at = self.edge_of(str(told["specimen"]))
        self._frame.mount(self._looked_at)
        return self._frame.now_s + CLAMP_S

    def _take_out(self, told: Detail) -> float:
        self._looked_at = self.edge_of(str(told["specimen"]))
        self._frame.mount(None)
        return self._frame.now_s + CLAMP_S

    def edge_of(self, name: str) -> CuttingEdge:
        """The edge of the blade of that name, kept from one mounting to the next."""
        if name not in self._edges:
            wears = self.wears or blade_wear(name, self._seed, self._made(name))
            self._edges[name] = fresh_edge(name, self._seed, wears)
        return self._edges[name]

    def _feed(self, told: Detail) -> float:
        self._frame.feed(str(told["sheet"]))
        return self._frame.now_s + FEED_S

    def _strokes(self, told: Detail) -> float:
        return self._frame.draw(*(self._stroke() for _ in range(int(told["count"]))))

    def _stroke(self) -> Draw:
        lasts = self.stroke_s * self._rng.gauss(1.0, STROKE_SCATTER)
        lasts = max(SHORTEST_S, lasts)
        chance = self._rng.random()
        if chance < self.partial:
            return Draw((0.0, self._rng.uniform(0.3, 0.9), 0.0), lasts)
        if chance < self.partial + self.hesitant:
            back = self._rng.uniform(0.7, 0.9)
            return Draw((0.0, 1.0, back, 1.0, 0.0), 1.5 * lasts)
        return Draw((0.0, 1.0, 0.0), lasts)
