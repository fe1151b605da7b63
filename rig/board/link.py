"""The link: a pyfirmata2 Board that watches its line.

One thread, on purpose. Heartbeats leave only while the program's own loop turns (`poll`), so a
program that hangs falls silent and the board makes itself safe; a heartbeat thread would go on
vouching for a program that no longer works.
"""

from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

from pyfirmata2.pyfirmata2 import (
    ANALOG_MAPPING_QUERY,
    CAPABILITY_QUERY,
    CAPABILITY_RESPONSE,
    QUERY_FIRMWARE,
    REPORT_VERSION,
    STRING_DATA,
    Board,
)

from rig.board import wire
from rig.board.frames import Decoder, Frame, Message
from rig.board.samples import Happening, happening, trace
from rig.board.streams import Clock, Stream
from rig.board.wire import Kind, Op, Reason
from rig.errors import RigError

BEAT_PERIOD_S = 0.1
SILENCE_LIMIT_S = 0.8  # STATUS comes every 0.1 s, so this is eight in a row
REPLY_LIMIT_S = 0.5
STEP_S = 0.005
BEATS_KEPT = 50
STREAM_LIMIT_S = 0.3  # height blocks come every 10 ms
PIN_COUNT = 20  # as Firmata counts them on this part


class LinkError(RigError):
    """Something about the line to the board."""


class NoBoard(LinkError):
    """Nothing answered in time."""


class WrongFirmware(LinkError):
    """What answered is not our firmware, or not this version's wire."""


class LinkLost(LinkError):
    """The board fell silent or the cable came out."""


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


@dataclass(frozen=True)
class Hello:
    """What the board said of itself."""

    firmware: tuple[int, int, int]
    boot: int
    reset_cause: int


class Link(Board):  # type: ignore[misc]
    """A board on a stream, ready when it has answered.

    Args:
        stream: an open byte stream (serial port, pseudo-terminal, virtual board).
        clock: the stream's time.
        name: what to call the board in messages (usually the port).
        time_limit_s: how long the board may take to answer (a reset on opening the port and its
            boot loader take up to two seconds).

    Raises:
        NoBoard, WrongFirmware, LinkLost.
    """

    def __init__(
        self, stream: Stream, *, clock: Clock, name: str, time_limit_s: float = 5.0
    ) -> None:
        # Board.__init__ is not called: it opens the port itself, waits five seconds and shares
        # one handler table among all boards of the process.
        self._command_handlers: dict[int, Callable[..., None]] = {}
        self._layout: dict[str, tuple[int, ...]] | None = None
        self.analog: list[object] = []
        self.digital: list[object] = []
        self.digital_ports: list[object] = []
        self.samplerThread = None
        self.sp = stream
        self._open = True
        self.name = name
        self.clock = clock
        self.decoder = Decoder()
        self.hello: Hello | None = None
        self.status: dict[str, int] = {}
        self.status_ticks = 0
        self.position: int | None = None
        self.strings: deque[str] = deque(maxlen=50)
        self.exchanges: list[Exchange] = []
        self.listeners: list[Callable[[Happening], None]] = []
        self.received_bytes = 0
        self._record: list[bytes] | None = None
        self._seq = 0
        self._replies: dict[int, Reply] = {}
        self._beats: dict[int, float] = {}
        self._next_beat = clock.now()
        self._last_heard = clock.now()
        self._streaming = False
        self._last_height = clock.now()
        try:
            self._greet(time_limit_s)
        except OSError:
            raise self._unplugged() from None

    # -- connecting

    def _greet(self, time_limit_s: float) -> None:
        self._set_default_handlers()
        self.add_cmd_handler(CAPABILITY_RESPONSE, self._handle_report_capability_response)
        self.add_cmd_handler(STRING_DATA, self._keep_string)
        end = self.clock.now() + time_limit_s
        ask = 0.0
        while not self._complete():
            now = self.clock.now()
            if now > end:
                raise self._stranger(time_limit_s)
            if now >= ask:
                self._ask()
                ask = now + 0.5
            self.clock.sleep(STEP_S)
            self._take()
        self.setup_layout(self._layout)
        self._last_heard = self.clock.now()

    def _complete(self) -> bool:
        """Whether all answers are in, and whole: Firmata's own carry no check."""
        layout = self._layout or {}
        pins = len(layout.get("digital", ())) + len(layout.get("analog", ()))
        named = self.firmware == wire.FIRMWARE_NAME
        return bool(self.hello and self.firmata_version and named and pins == PIN_COUNT)

    def _ask(self) -> None:
        self.sp.write(bytes([REPORT_VERSION]))
        self.send_sysex(QUERY_FIRMWARE, [])
        self.send_sysex(CAPABILITY_QUERY, [])
        self.send_sysex(ANALOG_MAPPING_QUERY, [])
        self._send(Op.HELLO)

    def _stranger(self, time_limit_s: float) -> LinkError:
        if self.firmware and self.firmware != wire.FIRMWARE_NAME:
            return WrongFirmware(
                f"the board runs '{self.firmware}', not {wire.FIRMWARE_NAME}",
                where=self.name,
                remedy=f"put our firmware on it: bladerig board flash --port {self.name}",
            )
        if self.firmware or self.firmata_version:
            return WrongFirmware(
                "the board speaks Firmata but does not answer our frames",
                where=self.name,
                remedy=f"put our firmware on it: bladerig board flash --port {self.name}",
            )
        return NoBoard(
            f"no board answered within {time_limit_s:g} s",
            where=self.name,
            remedy="check cable and power; 'bladerig board list' shows which ports answer",
        )

    def _unplugged(self) -> LinkLost:
        return LinkLost(
            "the board is unplugged or the port is gone",
            where=self.name,
            remedy="plug it back in and go on; the board has made itself safe",
        )

    def _keep_string(self, *data: int) -> None:
        pairs = zip(data[::2], data[1::2], strict=False)
        self.strings.append("".join(chr(low | high << 7) for low, high in pairs))

    # -- the loop

    def poll(self) -> None:
        """Read what has come, send a heartbeat when one is due, notice silence.

        Raises:
            LinkLost: unplugged, or nothing heard for `SILENCE_LIMIT_S`.
        """
        try:
            self._take()
            now = self.clock.now()
            if now >= self._next_beat:
                self._next_beat = now + BEAT_PERIOD_S
                self._beats[self._send(Op.BEAT)] = now
                if len(self._beats) > BEATS_KEPT:  # answers that never came
                    self._beats.pop(next(iter(self._beats)))
            if self._streaming and now - self._last_height > STREAM_LIMIT_S:
                # A restarted board has its channel off; the command itself may be lost.
                self._last_height = now
                self._send(Op.STREAM, channel=Kind.HEIGHT, on=1)
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
        self.wait_until(lambda: False, seconds)

    def wait_until(self, test: Callable[[], bool], limit_s: float) -> bool:
        """Serve the line until `test` holds (True) or the limit is over (False)."""
        end = self.clock.now() + limit_s
        while True:
            self.poll()
            if test():
                return True
            left = end - self.clock.now()
            if left <= 0:
                return False
            self.clock.sleep(min(STEP_S, left))

    def _take(self) -> None:
        data = self.sp.read_available()
        if not data:
            return
        self.received_bytes += len(data)
        items = self.decoder.feed(data)
        if self._record is not None:
            self._record.append(self.decoder.taken)
        for item in items:
            if isinstance(item, Frame):
                self._last_heard = self.clock.now()
                self._frame(item)
            else:
                self._message(item)

    def _message(self, message: Message) -> None:
        handler = self._command_handlers.get(message.command)
        if handler is None:
            return
        try:
            handler(*message.data)
        except (ValueError, IndexError):
            # A plain Firmata message carries no check of its own: a damaged one may name a pin
            # that does not exist. Nothing measured travels in such messages.
            self.decoder.damaged += 1

    def _frame(self, frame: Frame) -> None:
        if self.hello is not None and self.decoder.boot != self.hello.boot:
            self._restarted(self.hello)
        if frame.kind is Kind.HEIGHT:
            self._last_height = self.clock.now()
            last = trace([frame], Kind.HEIGHT).values
            self.position = int(last[-1])
        elif frame.kind is Kind.STATUS:
            self.status, self.status_ticks = frame.fields(), frame.ticks
            if not self._streaming:
                self.position = self.status["height"]
        elif frame.kind is Kind.REPLY:
            self._reply(frame)
        elif frame.kind is Kind.EVENT:
            event = happening(frame)
            if event is not None:
                for listener in self.listeners:
                    listener(event)
        elif frame.kind is Kind.HELLO:
            self._hello(frame.fields())

    def _restarted(self, before: Hello) -> None:
        """The board began anew: so do its clock and its height, and its channel is off."""
        self.hello = replace(before, boot=self.decoder.boot or 0)
        self.exchanges.clear()
        self._beats.clear()
        self.position = None

    def _hello(self, told: dict[str, int]) -> None:
        if told["wire"] != wire.WIRE_VERSION or told["description"] != wire.description():
            raise WrongFirmware(
                f"the board speaks wire version {told['wire']}, this program {wire.WIRE_VERSION}"
                if told["wire"] != wire.WIRE_VERSION
                else "the board's firmware was built from another description of the wire",
                where=self.name,
                remedy=f"put the matching firmware on it: bladerig board flash --port {self.name}",
            )
        version = (told["major"], told["minor"], told["patch"])
        self.hello = Hello(version, told["boot"], told["reset_cause"])

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
        else:
            self._replies[seq] = reply

    # -- talking

    def _send(self, op: Op, **values: int) -> int:
        seq = self._seq
        self._seq = (seq + 1) % (1 << wire.SEQ_BITS)
        self.sp.write(wire.command(op, seq, **values))
        return seq

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

    def stream_height(self, on: bool) -> None:
        """Ask for the 1 kHz height channel, or stop it."""
        self.command(Op.STREAM, channel=Kind.HEIGHT, on=int(on))
        self._streaming = on

    def start_record(self) -> None:
        """Keep every byte from the next frame boundary on, as received."""
        self._record = []

    def stop_record(self) -> bytes:
        """The bytes kept since `start_record`."""
        kept, self._record = self._record or [], None
        return b"".join(kept)

    def bytes_available(self) -> int:
        """For pyfirmata2's own methods."""
        return self.sp.in_waiting

    @property
    def boot(self) -> int | None:
        """The board's boot number: another one means that its counters began anew."""
        return self.decoder.boot

    def input(self, which: wire.Input) -> bool:
        """An input as the last STATUS told it (closed, healthy, pressed, blocked)."""
        return bool(self.status.get("inputs", 0) >> which & 1)

    def exit(self) -> None:
        """Disarm if possible, stop what pyfirmata2 started, give the port back."""
        if not getattr(self, "_open", False):
            return
        self._open = False
        with suppress(OSError):  # a board that is gone has made itself safe
            self.sp.write(wire.command(Op.DISARM, self._seq))
        with suppress(OSError):
            self.sp.close()
