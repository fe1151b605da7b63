"""The link: a board whose line is watched while the program's own loop turns.

One thread, on purpose. Heartbeats leave only while the program's own loop turns (`poll`), so a
program that hangs falls silent and the board makes itself safe; a heartbeat thread would go on
vouching for a program that no longer works.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

from rig.board import wire
from rig.board.frames import Frame
from rig.board.greeting import (
    STEP_S,
    GreetedBoard,
    Hello,
    LinkError,
    LinkLost,
    NoBoard,
    WrongFirmware,
)
from rig.board.samples import Happening, block, happening
from rig.board.streams import Clock, Dozing, Stream
from rig.board.strokes import Counts, counts
from rig.board.wire import CHANNELS, Kind, Op, Reason, State

__all__ = [
    "Exchange", "Hello", "Link", "LinkError", "LinkLost", "NoBoard", "NoReply", "Reply",
    "WrongFirmware",
]  # fmt: skip

BEAT_PERIOD_S = 0.1
SILENCE_LIMIT_S = 0.8  # STATUS comes every 0.1 s, so this is eight in a row
REPLY_LIMIT_S = 0.5
BEATS_KEPT = REPLIES_KEPT = 50
_STATES = frozenset(State)
RECENT = 128  # samples of each channel
# Height blocks come every 10 ms, angle blocks every 40 ms; a bridge converter may be strapped
# for ten a second and is silent for a while when it has just been powered.
STREAM_LIMITS_S = {Kind.HEIGHT: 0.3, Kind.ANGLE: 0.3, Kind.LOAD: 0.8}


class NoReply(LinkError):
    """A command was not answered."""


@dataclass(frozen=True)
class Reply:
    """The board's answer to one command; `value` is the nonce or the mask of unmet conditions."""

    op: Op
    reason: Reason
    value: int
    ticks: int

    @property
    def done(self) -> bool:
        """Whether the board did it."""
        return self.reason is Reason.NONE

    def unmet(self) -> list[Reason]:
        """Every condition that stood in the way; none if done (`value` is a nonce then)."""
        if self.done:
            return []
        listed = [reason for reason in Reason if reason and self.value >> reason & 1]
        return listed or [self.reason]


@dataclass(frozen=True)
class Exchange:
    """One heartbeat and its answer, for the time base."""

    sent_s: float
    received_s: float
    ticks: int


class Link(GreetedBoard):
    """A board on a stream, served by `poll` (arguments and errors as `GreetedBoard`).

    Attributes:
        status, status_ticks: the last STATUS and its MCU time.
        counts: the last totals of strokes and the drive's state; None until told, and anew after
            a restart of the board, which begins its totals again.
        position: the height now in counts, None when not known.
        latest: the last sample of each channel that streams, (ticks, value).
        recent: the last `RECENT` of them, for live read-outs; what is measured comes from the
            recorded bytes.
        exchanges: heartbeats with their answers, since the board's last restart.
        listeners: called with every event.
    """

    def __init__(
        self, stream: Stream, *, clock: Clock, name: str, time_limit_s: float = 5.0
    ) -> None:
        self.status: dict[str, int] = {}
        self.status_ticks = 0
        self.counts: Counts | None = None
        self.position: int | None = None
        self.latest: dict[Kind, tuple[int, int]] = {}
        self.recent: dict[Kind, deque[tuple[int, int]]] = {
            kind: deque(maxlen=RECENT) for kind in CHANNELS
        }
        self.exchanges: list[Exchange] = []
        self.listeners: list[Callable[[Happening], None]] = []
        self._replies: dict[int, Reply] = {}
        self._beats: dict[int, float] = {}
        self._next_beat = clock.now()
        self._dozing = clock if isinstance(clock, Dozing) else None
        self._streaming: dict[Kind, float] = {}  # since when nothing has come of it
        super().__init__(stream, clock=clock, name=name, time_limit_s=time_limit_s)

    # -- the loop

    def poll(self) -> None:
        """Read what has come, send a heartbeat when one is due, notice silence.

        Raises:
            LinkLost: unplugged, or nothing heard for `SILENCE_LIMIT_S`.
            WrongFirmware: it tells of a state or a reason that there is none of.
        """
        try:
            self._take()
            now = self.clock.now()
            if now >= self._next_beat:
                self._next_beat = now + BEAT_PERIOD_S
                self._beats[self._send(Op.BEAT)] = now
                if len(self._beats) > BEATS_KEPT:  # answers that never came
                    self._beats.pop(next(iter(self._beats)))
            self._ask_again(now)
        except OSError:
            raise self._unplugged() from None
        silent_s = now - self._last_heard
        if silent_s > SILENCE_LIMIT_S:
            raise LinkLost(
                f"nothing heard from the board for {silent_s:.1f} s",
                where=self.name,
                remedy="check cable and power; the board has made itself safe",
            )

    iterate = poll

    def wait(self, seconds: float) -> None:
        """Let time pass while the line is served."""
        self.wait_until(lambda: False, seconds, lambda: math.inf)

    def wait_until(
        self, test: Callable[[], bool], limit_s: float, again_s: Callable[[], float] | None = None
    ) -> bool:
        """Serve the line until `test` holds (True) or the limit is over (False).

        Where only what comes on the line and the time change what `test` says, `again_s()` tells
        the clock's time up to which time alone does not: a virtual rig then need not look at it
        step by step.
        """
        end = self.clock.now() + limit_s
        while True:
            self.poll()
            if test():
                return True
            if again_s is not None and self._dozing is not None:
                self._dozing.doze(STEP_S, end, min(again_s(), self._due_s()))
            left = end - self.clock.now()
            if left <= 0:
                return False
            self.clock.sleep(min(STEP_S, left))

    def _due_s(self) -> float:
        """When `poll` has something to do though nothing comes."""
        asked = (since + STREAM_LIMITS_S[kind] for kind, since in self._streaming.items())
        return min(self._next_beat, self._last_heard + SILENCE_LIMIT_S, *asked)

    def _ask_again(self, now: float) -> None:
        """A restarted board has its channels off, and the command itself may be lost."""
        for kind, since in self._streaming.items():
            if now - since > STREAM_LIMITS_S[kind]:
                self._streaming[kind] = now
                self._send(Op.STREAM, channel=kind, on=1)

    def _frame(self, frame: Frame) -> None:
        if self.hello is not None and self.decoder.boot != self.hello.boot:
            self._restarted(self.hello)
        super()._frame(frame)
        if frame.kind in CHANNELS:
            self._samples(frame)
        elif frame.kind is Kind.STATUS:
            self.status, self.status_ticks = frame.fields(), frame.ticks
            if self.status["state"] not in _STATES:
                raise self._not_understood(f"state {self.status['state']}")
            if Kind.HEIGHT not in self._streaming:
                self.position = self.status["height"]
        elif frame.kind is Kind.COUNTS:
            self.counts = counts(frame) or self.counts
        elif frame.kind is Kind.REPLY:
            self._reply(frame)
        elif frame.kind is Kind.EVENT:
            event = happening(frame)
            if event is None:
                return  # of a later version
            if event.odd:
                raise self._not_understood(f"{event.code.name} {event.value}, {event.extra}")
            for listener in self.listeners:
                listener(event)

    def _not_understood(self, what: str) -> WrongFirmware:
        return WrongFirmware(
            f"the board tells of something this program does not know ({what})",
            where=self.name,
            remedy="put the firmware of this version on it: bladerig board flash",
        )

    def _samples(self, frame: Frame) -> None:
        kind = frame.kind
        if kind in self._streaming:
            self._streaming[kind] = self.clock.now()
        self.recent[kind].extend(block(frame))
        self.latest[kind] = self.recent[kind][-1]
        if kind is Kind.HEIGHT:
            self.position = self.latest[kind][1]

    def _restarted(self, before: Hello) -> None:
        """The board began anew: so do its clock and its height, and its channels are off."""
        self.hello = replace(before, boot=self.decoder.boot or 0)
        self.exchanges.clear()
        self._beats.clear()
        self.position = self.counts = None
        for kind in CHANNELS:
            self._forget(kind)

    def _reply(self, frame: Frame) -> None:
        told = frame.fields()
        try:
            reply = Reply(Op(told["op"]), Reason(told["reason"]), told["value"], frame.ticks)
        except ValueError:
            return
        seq = told["command_seq"]
        if reply.op is Op.BEAT and seq in self._beats:
            sent = self._beats.pop(seq)
            self.exchanges.append(Exchange(sent, self.clock.now(), frame.ticks))
            return
        self._replies[seq] = reply
        if len(self._replies) > REPLIES_KEPT:  # nobody waits for the answers to `_ask_again`
            self._replies.pop(next(iter(self._replies)))

    def hold_beats(self, seconds: float) -> None:
        """Send no heartbeat for so long, to see what a board does then; 0 sends one at once."""
        self._next_beat = self.clock.now() + seconds

    # -- talking

    def command(self, op: Op, **values: int) -> Reply:
        """Send one command and wait for its answer.

        Raises:
            NoReply: not answered within `REPLY_LIMIT_S`.
            LinkLost: the line went down.
        """
        self._replies.clear()
        try:
            seq = self._send(op, **values)
        except OSError:
            raise self._unplugged() from None
        if not self.wait_until(lambda: seq in self._replies, REPLY_LIMIT_S):
            raise NoReply(
                f"the board did not answer {op.name}",
                where=self.name,
                remedy="the line may be noisy: check cable and shield, then try again",
            )
        return self._replies.pop(seq)

    def stream(self, kind: Kind, on: bool) -> None:
        """Ask for a channel of samples, or stop it; it is asked for again after a restart.

        Raises:
            NoReply, LinkLost.
        """
        if on:
            self._forget(kind)
        else:
            self._streaming.pop(kind, None)
        self.command(Op.STREAM, channel=kind, on=int(on))
        if on:
            self._streaming[kind] = self.clock.now()
        else:
            self._forget(kind)

    def _forget(self, kind: Kind) -> None:
        self.latest.pop(kind, None)
        self.recent[kind].clear()

    def input(self, which: wire.Input) -> bool:
        """An input as the last STATUS told it (closed, healthy, pressed, blocked)."""
        return bool(self.status.get("inputs", 0) >> which & 1)
