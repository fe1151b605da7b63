"""Small worlds for the tests: a tower alone, and a whole rig with host, board and person."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from rig.board.frames import Decoder, Frame
from rig.board.link import Link
from rig.board.samples import Happening
from rig.board.wire import Kind, Op
from rig.virtual.board.standin import StandIn
from rig.virtual.tower.dynamics import Support
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.parameters import SpecimenTruth, TowerTruth
from rig.virtual.tower.plant import Tower

LOSSLESS = replace(
    TowerTruth(),
    friction_ratio=0.0,
    drag_kg_per_m=0.0,
    spring_n=0.0,
    spring_n_per_m=0.0,
    wire_n_per_m=1e-9,
    wire_ns_per_m=0.0,
    rattles=(),
)


def hung(truth: TowerTruth, height_m: float, seed: int = 0, edges: bool = False) -> Tower:
    """A tower with its carriage on the hook and the catch held open."""
    tower = Tower(truth, seed, encoder_edges=edges)
    tower.put(Support.HOOK, tower.specimen.surface_m + height_m)
    tower.set_output("CATCH", True, 0.0)
    tower.advance(0.1)
    return tower


def let_go(tower: Tower, pulse_s: float = 0.05) -> None:
    """Energise the latch for a moment."""
    tower.set_output("LATCH", True, tower.now_s)
    tower.advance(tower.now_s + pulse_s)
    tower.set_output("LATCH", False, tower.now_s)


def each_ms(tower: Tower, until_s: float, look: Callable[[int], None] = lambda _: None) -> None:
    """Advance in steps of a millisecond, giving the count after each."""
    while tower.now_s < until_s:
        tower.advance(tower.now_s + 1e-3)
        look(tower.count(tower.now_s))


@dataclass
class Rig:
    """Host, board, tower and person together."""

    truth: TowerTruth = field(default_factory=TowerTruth)
    seed: int = 0

    def __post_init__(self) -> None:
        self.tower = Tower(self.truth, self.seed)
        self.board = StandIn(self.tower, seed=self.seed)
        self.hands = Hands(self.tower, self.seed)
        self.link = Link(self.board, clock=self.board.clock, name="virtual")
        self.events: list[Happening] = []
        self.link.listeners.append(self.events.append)
        self.link.stream(Kind.HEIGHT, True)

    def prepare(self, height_m: float = 0.25, specimen: SpecimenTruth | None = None) -> None:
        """Guard closed over a carriage on the hook, everything steady."""
        self.hands.open_guard()
        if specimen is not None:
            self.hands.load_specimen(specimen)
        self.hands.raise_to(height_m)
        self.link.wait(self.hands.close_guard() - self.board.now_s + 0.8)

    def arm(self) -> None:
        """Both steps of arming; they must be granted."""
        here = self.link.position
        assert here is not None
        armed = self.link.command(Op.ARM, low=here - 20, high=here + 20)
        assert armed.done, armed
        assert self.link.command(Op.PERMIT, nonce=armed.value).done

    def drop(self, height_m: float = 0.25, specimen: SpecimenTruth | None = None) -> None:
        """One whole drop."""
        self.prepare(height_m, specimen)
        self.arm()
        self.hands.press_button()
        self.link.wait(2.0)


def heard(board: StandIn, seconds: float) -> list[Frame]:
    """Frames that arrive in a while."""
    board.clock.sleep(seconds)
    items = Decoder().feed(board.read_available())
    return [item for item in items if isinstance(item, Frame)]


def of_kind(frames: list[Frame], kind: Kind) -> list[Frame]:
    """Those of one kind."""
    return [frame for frame in frames if frame.kind is kind]
