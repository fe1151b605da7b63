"""A host for the tests: it knows nothing but `wire`, and checks all it hears."""

import zlib
from typing import NamedTuple

from rig.board import wire
from rig.board.wire import DriveState, Kind, Op, Reason, State, Stroke
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.scripted import ScriptedTower

BEAT_S = 0.1
STEP_S = 0.002
BYTE_S = 10 / wire.BAUD
ANSWER_LIMIT_S = 0.2
UBRR0L = 0xC4
DATA_BYTES = {0x80: 2, 0x90: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2, 0xF4: 2, 0xF5: 2, 0xF9: 2}


class Frame(NamedTuple):
    """One undamaged frame; `samples` of a HEIGHT frame, `values` of the others."""

    kind: Kind
    seq: int
    time: int
    values: dict[str, int]
    samples: list[int]
    heard_s: float


def decode(body: bytes, heard_s: float) -> Frame:
    """The frame between F0 and F7; asserts that it is whole."""
    inner, crc = body[: -wire.CRC.septets], body[-wire.CRC.septets :]
    assert wire.number(crc, wire.CRC) == zlib.crc32(inner), "damaged frame"
    head = wire.unpack(wire.HEAD, inner[1 : 1 + wire.width(wire.HEAD)])
    payload = inner[1 + wire.width(wire.HEAD) :]
    kind = Kind(head["kind"])
    samples: list[int] = []
    if kind in wire.CHANNELS:
        channel = wire.CHANNELS[kind]
        start = wire.width(channel.prefix)
        size = channel.sample.septets
        values = wire.unpack(channel.prefix, payload[:start])
        samples = [
            wire.number(payload[i : i + size], channel.sample)
            for i in range(start, len(payload), size)
        ]
        assert len(samples) == channel.block
    else:
        values = wire.unpack(wire.PAYLOADS[kind], payload)
    return Frame(kind, head["seq"], head["time"], values, samples, heard_s)


class Host:
    """Reads, checks and remembers; beats when `beating`."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self.frames: list[Frame] = []
        self.messages: list[bytes] = []
        self.gaps = 0
        self.beating = False
        self.last_beat_s = 0.0
        self._seq = 0
        self._buffer = bytearray()
        self._next_seq: int | None = None

    def run(self, seconds: float) -> None:
        """Let the world go on, listening."""
        board, end = self.board, self.board.now_s + seconds
        while board.now_s < end - 1e-9:
            if self.beating and board.now_s >= self.last_beat_s + BEAT_S:
                self.last_beat_s = board.now_s
                self.send(Op.BEAT)
            board.run(min(end, board.now_s + STEP_S))
            self._buffer += board.read_available()
            while self._take():
                pass

    def send(self, op: Op, **values: int) -> int:
        """Send a command; returns its sequence number."""
        self._seq = (self._seq + 1) % (1 << wire.SEQ_BITS)
        self.board.write(wire.command(op, self._seq, **values))
        return self._seq

    def ask(self, op: Op, **values: int) -> dict[str, int]:
        """Send a command and wait for its reply."""
        seq = self.send(op, **values)
        end = self.board.now_s + ANSWER_LIMIT_S
        while self.board.now_s < end:
            self.run(STEP_S)
            for frame in reversed(self.frames):
                if frame.kind is Kind.REPLY and frame.values["command_seq"] == seq:
                    assert frame.values["op"] == op
                    return frame.values
        raise AssertionError(f"no reply to {op.name}")

    def of(self, kind: Kind) -> list[Frame]:
        """Frames of one kind, in order."""
        return [frame for frame in self.frames if frame.kind is kind]

    def hello(self) -> dict[str, int]:
        """What the latest HELLO said."""
        return self.of(Kind.HELLO)[-1].values

    def status(self) -> dict[str, int]:
        """A fresh STATUS."""
        count = len(self.of(Kind.STATUS))
        while len(self.of(Kind.STATUS)) < count + 1:
            self.run(0.01)
        return self.of(Kind.STATUS)[-1].values

    def states(self) -> list[tuple[State, Reason]]:
        """States entered, with their reasons, as told by events."""
        return [
            (State(frame.values["value"]), Reason(frame.values["extra"]))
            for frame in self.of(Kind.EVENT)
            if frame.values["code"] == wire.Event.STATE
        ]

    def drive_states(self) -> list[tuple[DriveState, Reason]]:
        """States of the drive, with their reasons, as told by events."""
        return [
            (DriveState(frame.values["value"]), Reason(frame.values["extra"]))
            for frame in self.of(Kind.EVENT)
            if frame.values["code"] == wire.Event.DRIVE
        ]

    def counts(self) -> dict[str, int]:
        """Fresh totals."""
        count = len(self.of(Kind.COUNTS))
        while len(self.of(Kind.COUNTS)) == count:
            self.run(0.01)
        return self.of(Kind.COUNTS)[-1].values

    def strokes(self) -> list[Stroke]:
        """Verdicts told."""
        return [Stroke(frame.values["verdict"]) for frame in self.of(Kind.STROKE)]

    def height_samples(self) -> list[int]:
        """All samples of height, block after block."""
        return [sample for frame in self.of(Kind.HEIGHT) for sample in frame.samples]

    def _take(self) -> bool:
        """Cut one message off the buffer."""
        data = self._buffer
        if not data:
            return False
        if data[0] == wire.START:
            end = data.find(wire.END)
            if end < 0:
                return False
            message = bytes(data[: end + 1])
            assert max(message[1:-1], default=0) < 0x80, "a data byte with its top bit set"
        else:
            status = data[0] & 0xF0 if data[0] < 0xF0 else data[0]
            assert status in DATA_BYTES, f"stray byte {data[0]:#04x} from the board"
            if len(data) <= DATA_BYTES[status]:
                return False
            message = bytes(data[: DATA_BYTES[status] + 1])
        del data[: len(message)]
        self._sort(message)
        return True

    def _sort(self, message: bytes) -> None:
        if message[:2] != bytes([wire.START, wire.FRAME_SYSEX]):
            self.messages.append(message)
            return
        frame = decode(message[1:-1], self.board.now_s)
        if frame.kind is Kind.HELLO and frame.seq == 0:
            self._next_seq = 0
        if self._next_seq is not None:
            self.gaps += (frame.seq - self._next_seq) % (1 << wire.SEQ_BITS)
        self._next_seq = (frame.seq + 1) % (1 << wire.SEQ_BITS)
        self.frames.append(frame)


def flood(host: Host, seconds: float) -> None:
    """Ask for the Firmata version with every byte the line takes: three bytes are the answer."""
    end = host.board.now_s + seconds
    while host.board.now_s < end:
        host.board.write(b"\xf9" * round(STEP_S / BYTE_S))
        host.run(STEP_S)


def choke(host: Host, seconds: float) -> None:
    """The board sends at a thirtieth of its speed for a while, so that frames find no room."""
    chip = host.board.chip
    chip.poke(UBRR0L, 30 * (chip.peek(UBRR0L) + 1) - 1)
    host.run(seconds)
    chip.poke(UBRR0L, (chip.peek(UBRR0L) + 1) // 30 - 1)


def arm(host: Host) -> int:
    """Beat, stand still, arm around the present height; returns the nonce."""
    host.beating = True
    host.run(wire.LIMITS["STEADY_MS"] / 1e3 + 0.2)
    here = host.status()["height"]
    reply = host.ask(Op.ARM, low=here - 20, high=here + 20)
    assert reply["reason"] == Reason.NONE
    return reply["value"]


def release(host: Host, tower: ScriptedTower) -> float:
    """Arm, permit and press the button; returns the time at which the latch was energised."""
    reply = host.ask(Op.PERMIT, nonce=arm(host))
    assert reply["reason"] == Reason.NONE
    pressed = host.board.now_s + 0.01
    tower.edge(pressed, "BUTTON", 0)
    tower.edge(pressed + 0.1, "BUTTON", 1)
    host.run(0.13)
    assert host.board.on("LATCH") and host.board.on("CATCH")
    return next(c.t_s for c in reversed(host.board.outputs) if c.name == "LATCH" and c.on)


def arm_drive(host: Host, target: int) -> int:
    """Beat and arm the drive; returns the nonce."""
    host.beating = True
    host.run(0.2)
    reply = host.ask(Op.DRIVE_ARM, target=target)
    assert reply["reason"] == Reason.NONE
    return reply["value"]


def start_drive(host: Host, tower: ScriptedTower, target: int) -> None:
    """Arm, permit and press the button: the motor runs."""
    reply = host.ask(Op.DRIVE_PERMIT, nonce=arm_drive(host, target))
    assert reply["reason"] == Reason.NONE
    pressed = host.board.now_s + 0.01
    tower.edge(pressed, "BUTTON", 0)
    tower.edge(pressed + 0.1, "BUTTON", 1)
    host.run(0.13)
    assert host.board.on("DRIVE")


def fall(host: Host, tower: ScriptedTower, counts: int = 400, period_s: float = 150e-6) -> None:
    """After `release`: the carriage goes, until the board says FLIGHT."""
    end = tower.counts(host.board.now_s + 0.01, period_s, -counts)
    host.run(end - host.board.now_s + STEP_S)
    assert host.states()[-1][0] is State.FLIGHT
