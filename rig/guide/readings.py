"""Reading a channel at rest, and recording load and angle while a hand moves the arm."""

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from rig.board.link import Link, LinkLost
from rig.board.samples import capture
from rig.board.wire import CHANNELS, LOAD_LIMITS, TICK_HZ, Kind
from rig.errors import RigError
from rig.guide.clock import time_base
from rig.guide.confirming import asked, confirmed
from rig.guide.device import Device
from rig.guide.following import EARLY_RAD, REST_S, Follow
from rig.guide.hazards import Warned
from rig.guide.operator import GO_ON, Operator
from rig.guide.safe import make_ready
from rig.guide.steps import Outcome, Read, Record
from rig.guide.words import SaidBack
from rig.logbook.store import Logbook
from rig.measure.reading import KINDS
from rig.measure.scales import Scale

CALLED = "pull_called"
FIT_TRIES = 30

ARM = (Kind.LOAD, Kind.ANGLE)


@contextmanager
def streaming(link: Link, kinds: Sequence[Kind]) -> Iterator[None]:
    """The channels on for a while; the height, always on, is left as it is."""
    own = [kind for kind in kinds if kind is not Kind.HEIGHT]
    for kind in own:
        link.stream(kind, True)
    try:
        yield
    except SaidBack:
        _off(link, own)
        raise
    _off(link, own)  # after any other error there may be no line left to ask


def _off(link: Link, kinds: Sequence[Kind]) -> None:
    for kind in kinds:
        link.stream(kind, False)


@dataclass
class Reader:
    """One Read or Record step."""

    book: Logbook
    run_id: int
    device: Device
    operator: Operator
    warned: Warned

    def read(self, step: Read) -> Callable[[], Outcome]:
        """Confirm, settle, record a stretch at rest, and compute what it shows.

        Raises:
            LinkLost: the line went down.
        """
        from rig.guide import kinds

        self._begin_reading(step)
        link, kind = self.device.link, KINDS[step.channel]
        hands = "keep holding" if step.held else "hands off"
        with streaming(link, [kind]):
            self._wait(step.settle_s, f"{hands}, let it settle")
            link.start_record()
            self._wait(step.read_s, f"{hands}, reading")
            raw = link.stop_record()
        boot = link.boot
        settings = {"channel": step.channel, "name_spikes": step.name_spikes}
        result = kinds.compute("reading", raw, settings)

        def store() -> Outcome:
            told = {"boot": boot, "channel": step.channel}
            raw_id = self.book.store_raw(self.run_id, step.trial, raw, told)
            number = self.book.store_result(self.run_id, step.trial, "reading", result, [raw_id])
            return {"raw_id": raw_id, "result_id": number, "boot": boot, **result}

        return store

    def _begin_reading(self, step: Read) -> None:
        """Nothing is asked when the step goes on by itself: no hand is there any more."""
        if step.by_itself:
            self.operator.tell(step.text)
            self.device.act(step.hand, step.detail)
            return
        ready = "you hold it" if step.held else ""
        confirmed(step, self.device, self.operator, self.warned, ready)

    def record(self, index: int, step: Record) -> Callable[[], Outcome]:
        """Record from rest through the motion until the arm is let back.

        The channels run from before the first word of it, so that a motion begun too early is in
        the record. The raw bytes are kept however it ends; a line lost on the way is told in the
        outcome, and so is a pull that an earlier life of this run had called for.
        """
        before = self._called_before(index, step)
        if before is not None:
            return lambda: before
        if step.guarded:
            make_ready(self.device, self.operator, "Close the shield.")
        link = self.device.link
        boot, ended, early = link.boot, "", False
        try:
            link.start_record()
            with streaming(link, ARM):
                early, follow = self._understood(index, step)
                self._call(index, step, "" if early else step.now)
                ended = follow.run(early)
                raw = link.stop_record()
        except LinkLost:
            raw, ended = link.stop_record(), "UNSEEN"
            if not raw:
                raise
        except SaidBack:
            link.stop_record()
            raise
        except BaseException:
            self._keep(index, step, link.stop_record())
            raise
        outcome: dict[str, Any] = {
            "ended": ended,
            "early": early,
            "boot": boot,
            "time_base": time_base(link),
        }

        def store() -> Outcome:
            meta = {"trial": step.trial, **outcome}
            raw_id = self.book.store_raw(self.run_id, step.trial, raw, meta)
            return {"raw_id": raw_id, **outcome}

        return store

    def _understood(self, index: int, step: Record) -> tuple[bool, "Follow"]:
        """Ask whether it is understood; whether the arm was moved before the word, and its watch.

        Nothing has moved: what was recorded so far is forgotten, and the cell must read.
        """
        follow = Follow(self.device, self.operator, step)
        then = f"understood; then wait for {step.now.split(':')[0]}"
        understood = asked(step, self.operator, self.warned, then)
        said = False

        def ready() -> bool:
            nonlocal said
            said = understood()
            return said or follow.begun()

        self.device.until(ready)
        if said:
            self.device.link.start_record()
            self._require_fit()
            return False, Follow(self.device, self.operator, step)
        self.operator.call("Begun before it was asked for. It is recorded: go on.")
        return True, follow

    def _call(self, index: int, step: Record, word: str) -> None:
        """Call for a motion; one that uses a blade up is on record before it can begin."""
        if step.guarded:
            self.book.append(CALLED, {"index": index, "trial": step.trial}, self.run_id)
        if word:
            self.operator.call(word)

    def _called_before(self, index: int, step: Record) -> Outcome | None:
        """What is left of a motion that was called for before this run was broken off.

        None when it was not, or when its record shows that nothing had moved yet.
        """
        rows = self.book.journal(self.run_id, CALLED)
        if not step.guarded or all(row.body["index"] != index for row in rows):
            return None
        parts = [
            raw_id
            for raw_id in self.book.raw_ids(self.run_id, step.trial)
            if self.book.raw(raw_id)[1].get("part_of") == index
        ]
        lost = {"raw_id": None, "ended": "INTERRUPTED", "early": False, "boot": None,
                "time_base": None}  # fmt: skip
        if not parts:
            return lost
        raw, meta = self.book.raw(parts[-1])
        if not moved(raw, step):
            return None
        return {**lost, "raw_id": parts[-1], "ended": "UNSEEN", "boot": meta["boot"],
                "time_base": meta["time_base"]}  # fmt: skip

    def _keep(self, index: int, step: Record, raw: bytes) -> None:
        """The frames of a motion that was broken off."""
        link = self.device.link
        told: dict[str, Any] = {"trial": step.trial, "part_of": index, "boot": link.boot}
        if raw:
            with suppress(RigError):  # the disk may be the trouble itself
                told["time_base"] = time_base(link)
                self.book.store_raw(self.run_id, step.trial, raw, told)

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

    def _wait(self, seconds: float, what: str) -> None:
        link = self.device.link
        end = link.clock.now() + seconds

        def left() -> float:
            return end - link.clock.now()

        def over() -> bool:
            self.operator.live(f"{what}: {max(left(), 0):.0f} s")
            return left() <= 0

        def told_anew() -> float:
            return end - max(round(left()) - 0.5, 0.0)

        link.wait_until(over, seconds + 1, told_anew)


def moved(raw: bytes, step: Record) -> bool:
    """Whether a record shows the arm moved or pulled by more than a touch."""
    seen = capture(raw)
    torque = Scale.from_dict(step.torque).value(seen[Kind.LOAD].values - step.zero_code)
    angle = Scale.from_dict(step.angle).value(seen[Kind.ANGLE].values)
    pulled = np.max(np.abs(torque), initial=0.0) >= step.stop.get("from_nm", math.inf)
    return bool(pulled or (len(angle) and np.ptp(angle) >= EARLY_RAD))


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
