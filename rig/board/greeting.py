"""Meeting a board: who answers on a stream, and is it ours?

A pyfirmata2 Board on any byte stream, connected when it has told version, firmware name, its
pins and, in a frame of ours, that it was built from the same description of the wire.
"""

from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

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
from rig.board.streams import Clock, Stream
from rig.board.wire import Kind, Op
from rig.errors import RigError

STEP_S = 0.005
ASK_AGAIN_S = 0.5
PIN_COUNT = 20  # as Firmata counts them on this part


class LinkError(RigError):
    """Something about the line to the board."""


class NoBoard(LinkError):
    """Nothing answered in time."""


class WrongFirmware(LinkError):
    """What answered is not our firmware, or not this version's wire."""


class LinkLost(LinkError):
    """The board fell silent or the cable came out."""


@dataclass(frozen=True)
class Hello:
    """What the board said of itself."""

    firmware: tuple[int, int, int]
    boot: int
    reset_cause: int


class GreetedBoard(Board):  # type: ignore[misc]
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

    def __init__(self, stream: Stream, *, clock: Clock, name: str, time_limit_s: float) -> None:
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
        self.strings: deque[str] = deque(maxlen=50)
        self.received_bytes = 0
        self._record: list[bytes] | None = None
        self._seq = 0
        self._last_heard = clock.now()
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
                ask = now + ASK_AGAIN_S
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

    # -- bytes in and out

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

    def _frame(self, frame: Frame) -> None:
        """One of our frames has come."""
        if frame.kind is Kind.HELLO:
            self._hello(frame.fields())

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

    def _send(self, op: Op, **values: int) -> int:
        seq = self._seq
        self._seq = (seq + 1) % (1 << wire.SEQ_BITS)
        self.sp.write(wire.command(op, seq, **values))
        return seq

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

    def exit(self) -> None:
        """Disarm if possible, stop what pyfirmata2 started, give the port back."""
        if not getattr(self, "_open", False):
            return
        self._open = False
        with suppress(OSError):  # a board that is gone has made itself safe
            self.sp.write(wire.command(Op.DISARM, self._seq))
        with suppress(OSError):
            self.sp.close()
