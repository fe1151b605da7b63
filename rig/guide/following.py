"""Following a motion of the arm live: when it begins, when it has done its work, what to read."""

import math
from dataclasses import dataclass, field

from rig.board.wire import TICK_HZ, Kind
from rig.errors import RigError
from rig.guide.device import Device
from rig.guide.operator import GO_ON, Operator
from rig.guide.steps import Record
from rig.guide.watch import Watch
from rig.measure.scales import Scale

LIMIT_S = 300.0
UNLOAD_LIMIT_S = 60.0
REST_S = 1.0
RATE_OVER_S = 0.25
BAR = 21
DONE = "done"
"""The word with which a person ends a recording."""
EARLY_RAD = math.radians(3.0)  # ours: an arm that is only touched does not go so far


@dataclass
class Follow:
    """Live guidance of one motion of the arm."""

    device: Device
    operator: Operator
    step: Record
    watch: Watch = field(init=False)

    def __post_init__(self) -> None:
        self.watch = Watch(self.step.stop)
        self._torque = Scale.from_dict(self.step.torque)
        self._angle = Scale.from_dict(self.step.angle)
        self._seen = -1
        self._quiet_since: float | None = None
        self._rest_rad: float | None = None
        self._guides = False

    def begun(self) -> bool:
        """Whether the arm is moved or pulled more than by a touch."""
        self._take()
        angles = self.device.link.recent[Kind.ANGLE]
        if not angles:
            return False
        angle = self._angle_rad(angles[-1][1])
        if self._rest_rad is None:
            self._rest_rad = angle
        pulled = self.watch.peak_nm >= self.step.stop.get("from_nm", math.inf)
        return pulled or abs(angle - self._rest_rad) >= EARLY_RAD

    def run(self, early: bool) -> str:
        """Follow the motion, begun already or not; gives why it ended."""
        link, operator = self.device.link, self.operator
        self._guides = True
        acting = math.inf if early else self._begin(self.step.hand)
        if not link.wait_until(lambda: self._ended(acting), LIMIT_S):
            raise RigError(
                "nothing ended this recording within 5 minutes",
                remedy=f"move the arm as told, or type {DONE}; {GO_ON}",
            )
        self._guides = False  # letting back has no rate to keep
        why = self.watch.why or "done"
        operator.tell(f"{_WORDS[why]} {self.step.after}".strip())
        if self.step.after:
            self._begin(self.step.after_hand)
            link.wait_until(self._let_go, UNLOAD_LIMIT_S)
        return why

    def _begin(self, hand: str) -> float:
        """Let the virtual hands begin; gives the time at which they will have done."""
        link, hands = self.device.link, self.device.hands
        if hands is None or not hand:
            return math.inf
        return link.clock.now() + hands.act(hand, self.step.detail)

    def _ended(self, hands_done: float) -> bool:
        self._take()
        done = self.operator.typed(DONE) or self.device.link.clock.now() > hands_done + REST_S
        return bool(self.watch.why) or done

    def _let_go(self) -> bool:
        """Back near no torque for a second."""
        self._take()
        now = self.device.link.clock.now()
        torque, _, _ = self._live()
        if abs(torque) > self.step.rest_nm:
            self._quiet_since = None
        elif self._quiet_since is None:
            self._quiet_since = now
        return self._quiet_since is not None and now - self._quiet_since >= REST_S

    def _take(self) -> None:
        """Feed the watch every new load reading with the angle of that moment."""
        link = self.device.link
        fresh = [r for r in link.recent[Kind.LOAD] if r[0] > self._seen]
        if not fresh or not link.recent[Kind.ANGLE]:
            return
        self._seen = fresh[-1][0]
        angle = self._angle_rad(link.recent[Kind.ANGLE][-1][1])
        for _, code in fresh:
            self.watch.feed(self._torque_nm(code), angle)
        self.operator.live(self._line())

    def _torque_nm(self, code: int) -> float:
        return float(self._torque.value(code - self.step.zero_code))

    def _angle_rad(self, sums: int) -> float:
        return float(self._angle.value(sums))

    def _live(self) -> tuple[float, float, float]:
        """Torque, angle and rate of turn now."""
        link = self.device.link
        load, angle = link.recent[Kind.LOAD], link.recent[Kind.ANGLE]
        if not load or not angle:
            return 0.0, 0.0, 0.0
        last = angle[-1]
        back = next((r for r in angle if last[0] - r[0] <= RATE_OVER_S * TICK_HZ), last)
        span_s = (last[0] - back[0]) / TICK_HZ
        turned = self._angle_rad(last[1]) - self._angle_rad(back[1])
        rate = turned / span_s if span_s else 0.0
        return self._torque_nm(load[-1][1]), self._angle_rad(last[1]), rate

    def _line(self) -> str:
        torque, angle, rate = self._live()
        low, high = self.step.rate_low_rad_s, self.step.rate_high_rad_s
        stands = f"{torque:7.3f} N·m  {_DEG * angle:6.1f}°"
        if not self._guides:
            return stands
        return f"{stands}  {_DEG * rate:5.1f} °/s  {rate_gauge(abs(rate), low, high)}"


_DEG = 57.29577951308232
_WORDS = {
    "failed": "It gave way.",
    "angle_limit": "Angle limit: stop.",
    "torque_limit": "Torque limit: stop.",
    "cycles_done": "All cycles done.",
    "done": "Done.",
}


def rate_gauge(rate: float, low: float, high: float) -> str:
    """The rate of turn against its band, and what to do about it."""
    place = round(BAR * min(rate / (1.5 * high), 1))
    ends = (round(BAR * low / (1.5 * high)), round(BAR * high / (1.5 * high)))
    marks = [" "] * (BAR + 1)
    marks[ends[0]], marks[ends[1]] = "[", "]"
    marks[place] = "|"
    advice = "faster" if rate < low else "SLOWER" if rate > high else "good"
    return f"{''.join(marks)} {advice}"
