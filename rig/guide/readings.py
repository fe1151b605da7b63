"""Reading a channel at rest, and recording load and angle while a hand moves the arm."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from rig.board.link import Link, LinkLost
from rig.board.wire import CHANNELS, LOAD_LIMITS, TICK_HZ, Kind
from rig.calibration import timebase
from rig.errors import RigError
from rig.guide import hazards
from rig.guide.device import Device
from rig.guide.operator import GO_ON, Operator
from rig.guide.release import EXCHANGES_USED
from rig.guide.safe import make_ready
from rig.guide.steps import Do, Outcome, Read, Record
from rig.guide.watch import Watch
from rig.logbook.store import Logbook
from rig.measure.reading import KINDS
from rig.measure.scales import Scale

LIMIT_S = 300.0
UNLOAD_LIMIT_S = 60.0
REST_S = 1.0
FIT_TRIES = 30
RATE_OVER_S = 0.25
BAR = 21
DONE = "done"
"""The word with which a person ends a recording."""

ARM = (Kind.LOAD, Kind.ANGLE)


@contextmanager
def streaming(link: Link, kinds: Sequence[Kind]) -> Iterator[None]:
    """The channels on for a while; the height, always on, is left as it is."""
    own = [kind for kind in kinds if kind is not Kind.HEIGHT]
    for kind in own:
        link.stream(kind, True)
    yield  # after an error there is no line left to ask
    for kind in own:
        link.stream(kind, False)


@dataclass
class Reader:
    """One Read or Record step."""

    book: Logbook
    run_id: int
    device: Device
    operator: Operator

    def read(self, step: Read) -> Callable[[], Outcome]:
        """Confirm, settle, record a stretch at rest, and compute what it shows.

        Raises:
            LinkLost: the line went down.
        """
        from rig.guide import measures

        self._confirm(step)
        link, kind = self.device.link, KINDS[step.channel]
        with streaming(link, [kind]):
            self._wait(step.settle_s, "hands off, let it settle")
            link.start_record()
            self._wait(step.read_s, "hands off, reading")
            raw = link.stop_record()
        boot = link.boot
        settings = {"channel": step.channel}
        result = measures.compute("reading", raw, settings)

        def store() -> Outcome:
            told = {"boot": boot, "channel": step.channel}
            raw_id = self.book.store_raw(self.run_id, step.trial, raw, told)
            number = self.book.store_result(self.run_id, step.trial, "reading", result, [raw_id])
            return {"raw_id": raw_id, "result_id": number, "boot": boot, **result}

        return store

    def record(self, step: Record) -> Callable[[], Outcome]:
        """Record from rest through the motion until the arm is let back.

        The raw bytes are kept however it ends; a line lost on the way is told in the outcome.
        """
        if step.guarded:
            make_ready(self.device, self.operator, "Close the shield.")
        self._confirm(step)
        link = self.device.link
        boot, ended = link.boot, ""
        try:
            link.start_record()
            with streaming(link, ARM):
                self._require_fit()
                follow = _Follow(self.device, self.operator, step)
                ended = follow.run()
                raw = link.stop_record()
        except LinkLost:
            raw, ended = link.stop_record(), "UNSEEN"
            if not raw:
                raise
        base = _time_base(link)
        outcome = {"ended": ended, "boot": boot, "time_base": base}

        def store() -> Outcome:
            meta = {"trial": step.trial, **outcome}
            raw_id = self.book.store_raw(self.run_id, step.trial, raw, meta)
            return {"raw_id": raw_id, **outcome}

        return store

    def _require_fit(self) -> None:
        """No blade is spent on a cell that does not read.

        Raises:
            RigError: the channels stayed unfit for a trial.
        """
        why = ""
        for _ in range(FIT_TRIES):
            self._wait(2 * REST_S, "hands off, reading the arm at rest")
            why = unfit(self.device.link)
            if not why:
                return
            self.operator.tell(f"Not yet: {why}.")
        raise RigError(why, where="load cell", remedy=f"put it right, {GO_ON}")

    def _confirm(self, step: Read | Record) -> None:
        lines = [hazards.LINES[key] for key in step.hazards]
        confirmed = self.operator.confirm(Do(step.text), lines)
        if isinstance(step, Read):
            self.device.act(step.hand, step.detail)
        while not self.device.link.wait_until(confirmed, 1.0):
            pass

    def _wait(self, seconds: float, what: str) -> None:
        link = self.device.link
        end = link.clock.now() + seconds

        def over() -> bool:
            left = end - link.clock.now()
            self.operator.live(f"{what}: {max(left, 0):.0f} s")
            return left <= 0

        link.wait_until(over, seconds + 1)


def unfit(link: Link) -> str:
    """Why load and angle cannot carry a trial now; "" when they can."""
    load, angle = link.recent[Kind.LOAD], link.recent[Kind.ANGLE]
    last_s = REST_S * TICK_HZ
    fresh = [r for r in load if load[-1][0] - r[0] <= last_s]
    if len(fresh) < 2:
        return "no readings come from the load cell's converter: check its plug and supply"
    if any(code in LOAD_LIMITS for _, code in fresh):
        return "the load cell is at its limit or unplugged"
    apart_s = (fresh[-1][0] - fresh[0][0]) / (len(fresh) - 1) / TICK_HZ
    if apart_s > 2 * CHANNELS[Kind.LOAD].period_ticks / TICK_HZ:
        return (
            f"the load cell is read {1 / apart_s:.0f} times a second, and a snap needs 80: set its "
            "converter to the fast rate"
        )
    return "" if angle else "no readings come from the angle sensor"


def _time_base(link: Link) -> dict[str, Any]:
    used = link.exchanges[-EXCHANGES_USED:]
    base = timebase.regress(
        [e.sent_s for e in used],
        [e.received_s for e in used],
        timebase.unwrap_ticks([e.ticks for e in used]),
    )
    return {"factor": base.factor, "u": base.u, "source": base.source}


@dataclass
class _Follow:
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

    def run(self) -> str:
        """Why the motion ended."""
        link, operator = self.device.link, self.operator
        acting = self._begin(self.step.hand)
        if not link.wait_until(lambda: self._ended(acting), LIMIT_S):
            raise RigError(
                "nothing ended this recording within 5 minutes",
                remedy=f"move the arm as told, or type {DONE}; {GO_ON}",
            )
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
            return float("inf")
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
        return (
            f"{torque:7.3f} N·m  {_DEG * angle:6.1f}°  {_DEG * rate:5.1f} °/s  "
            f"{rate_gauge(abs(rate), low, high)}"
        )


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
