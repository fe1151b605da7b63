"""The wire, described once.

Host and board talk Firmata (sysex bytes carry seven bits each). Two sysex ids of the range that
Firmata leaves to users carry our checked frames:

    board to host  F0 0B  kind  seq(2)  time(5)  payload...  crc(5)  F7
    host to board  F0 0C  op    seq(2)           payload...  crc(5)  F7

Every number is cut into septets, low seven bits first; signed numbers are two's complement in the
bits stated. `seq` counts all frames of one boot modulo 2**14, whatever their kind: a frame the
board could not send still uses its number up, so every loss shows as a gap. `time` is the MCU
clock in ticks of 0.5 us modulo 2**32, of the first sample or of the event. `crc` is CRC-32
(IEEE 802.3) over everything from the sysex id to the end of the payload: a 16-bit check would let
one damaged frame in 65,536 through, which a long session on a noisy bench would meet.

The firmware's header is generated from the tables below (firmware/make_header.py); a test fails
when the two drift apart.
"""

import enum
import zlib
from dataclasses import dataclass
from functools import cached_property

WIRE_VERSION = 2
FIRMWARE_NAME = "bladerig"
FIRMWARE_VERSION = (1, 3, 0)
FIRMATA_VERSION = (2, 8)

BAUD = 250_000  # exact at 16 MHz (UBRR 7, double speed); 115,200 would really be 117,647
TICK_HZ = 2_000_000  # Timer 1 at 16 MHz / 8
TIME_BITS = 32
SEQ_BITS = 14

FRAME_SYSEX = 0x0B
COMMAND_SYSEX = 0x0C
START, END = 0xF0, 0xF7


class Kind(enum.IntEnum):
    """Frames from the board. Kinds from 0x10 on are channels of samples."""

    HELLO = 0x01
    EVENT = 0x02
    STATUS = 0x03
    REPLY = 0x04
    STROKE = 0x05
    COUNTS = 0x06
    HEIGHT = 0x10
    LOAD = 0x11
    ANGLE = 0x12


class Op(enum.IntEnum):
    """Commands from the host. The board answers each undamaged one with a REPLY."""

    HELLO = 0x01
    BEAT = 0x02
    STREAM = 0x03
    ARM = 0x04
    PERMIT = 0x05
    DISARM = 0x06
    CLEAR = 0x07
    STROKES = 0x08
    DRIVE_ARM = 0x09
    DRIVE_PERMIT = 0x0A
    DRIVE_STOP = 0x0B


class Event(enum.IntEnum):
    """What an EVENT frame tells; `value` and `extra` are explained beside each."""

    GATE = 0x01  # value 1: flag entered the light beam, 0: left it
    GUARD = 0x02  # value 1: closed
    ESTOP = 0x03  # value 1: healthy (loop closed)
    BUTTON = 0x04  # value 1: pressed
    STATE = 0x05  # value: State, extra: Reason
    OUTPUT = 0x06  # value: Output, extra 1: energised
    LOAD = 0x07  # value: LoadFault that began, or NONE when readings came again
    DRIVE = 0x08  # value: DriveState, extra: Reason
    NEAR = 0x09  # value 1: closed, the carriage is at the start of its stroke
    FAR = 0x0A  # value 1: closed, it is at the end; both debounced, with the time they began


class State(enum.IntEnum):
    """States of the interlock."""

    HELD = 0
    ARMED = 1
    PERMITTED = 2
    RELEASING = 3
    FLIGHT = 4
    TRIPPED = 5


class Output(enum.IntEnum):
    """Outputs of the interlock. All are off at power-up."""

    LATCH = 0
    CATCH = 1
    LAMP = 2


class Input(enum.IntEnum):
    """Bits of STATUS.inputs; a set bit means closed, healthy, pressed, blocked."""

    GUARD = 0
    ESTOP = 1
    BUTTON = 2
    GATE = 3


class LoadFault(enum.IntEnum):
    """What is wrong with the bridge converter. Saturation is a code of its own (LOAD_LIMITS)."""

    NONE = 0
    MISSING = 1  # no conversion for LOAD_SILENT_MS
    STUCK = 2  # the data line does not go high after the last clock pulse
    LATE = 3  # the board came so late that the conversion may have been replaced while read


class Stroke(enum.IntEnum):
    """What became of a motion of the carriage. Only COUNTED ones are full strokes."""

    COUNTED = 0
    PARTIAL = 1  # left the near switch and came back to it without the far one
    TOO_FAST = 2  # whole, but sooner than the band of STROKES allows
    TOO_SLOW = 3
    BOTH_CLOSED = 4  # at both ends at once: a switch or its wire is wrong
    WRONG_ORDER = 5  # far closed although it never left near
    STUCK = 6  # both closed, or one while the drive runs, for SWITCH_STUCK_MS


class DriveState(enum.IntEnum):
    """States of the drive motor's interlock. Its output is on while RUNNING and never else."""

    OFF = 0
    ARMED = 1
    PERMITTED = 2
    RUNNING = 3


class Reason(enum.IntEnum):
    """Why the interlock or the drive refused, disarmed, tripped, stopped or finished."""

    NONE = 0
    GUARD_OPEN = 1
    ESTOP_OPEN = 2
    BEAT_LOST = 3
    OUTSIDE_WINDOW = 4
    NOT_STEADY = 5
    BUTTON_HELD = 6
    BAD_WINDOW = 7
    TRIPPED = 8
    BUSY = 9
    NOT_ARMED = 10
    WRONG_NONCE = 11
    ARM_EXPIRED = 12
    PERMIT_EXPIRED = 13
    HOST_DISARM = 14
    GUARD_NOT_CYCLED = 15
    NO_RELEASE = 16
    ENCODER_BACKWARDS = 17
    REVERSED = 18
    FLIGHT_TIMEOUT = 19
    WATCHDOG = 20
    RELEASED = 21
    BAD_COMMAND = 22
    NOT_TRIPPED = 23
    STALL = 24  # no end switch in time
    TARGET = 25  # all the strokes asked for are counted
    STOPPED = 26  # by the button
    SWITCH_FAULT = 27


@dataclass(frozen=True)
class Field:
    """One number on the wire: `bits` cut into septets, low seven bits first."""

    name: str
    bits: int
    signed: bool = False

    @cached_property
    def septets(self) -> int:
        """Bytes it takes on the wire."""
        return -(-self.bits // 7)

    @cached_property
    def span(self) -> range:
        """The numbers it holds."""
        low = -(1 << self.bits - 1) if self.signed else 0
        return range(low, low + (1 << self.bits))


def _f(text: str) -> tuple[Field, ...]:
    """Read `name:u14 other:i16` into fields."""
    return tuple(
        Field(name, int(kind[1:]), kind[0] == "i")
        for name, kind in (item.split(":") for item in text.split())
    )


HEAD = _f("kind:u7 seq:u14 time:u32")
COMMAND_HEAD = _f("op:u7 seq:u14")
CRC = Field("crc", 32)

# Counters are modulo 128: a change, not a value, is what the host looks for.
PAYLOADS: dict[Kind, tuple[Field, ...]] = {
    Kind.HELLO: _f(
        "wire:u7 major:u7 minor:u7 patch:u7 description:u32 boot:u14 reset_cause:u7"
        " height_period:u16"
    ),
    Kind.EVENT: _f("code:u7 value:u7 extra:u7"),
    Kind.STATUS: _f(
        "boot:u14 inputs:u7 state:u7 reason:u7 permit_left_ms:u14 beat_age_ms:u14 height:i16"
        " outputs:u7 rx_dropped:u7 rx_damaged:u7 tx_dropped:u7 illegal_edges:u7 missed_samples:u7"
    ),
    # value: the nonce on a granted ARM or DRIVE_ARM; on a refusal a bit (1 << reason) for every
    # unmet condition
    Kind.REPLY: _f("op:u7 command_seq:u14 reason:u7 value:u28"),
    # One for each judged motion. Time: the near switch's first closed sample, or that which decided
    # a reject. number: full strokes of this boot, this one included. out_ms: near opens to far
    # closes (PARTIAL: to near closes); back_ms: from then to near closes; at most 16,383 each.
    # mean, peak: codes of LOAD on the way out, of `samples` of them, 0 when none came; peak is the
    # one farthest from the first, whichever way the cell is wired. Saturated codes are left out.
    Kind.STROKE: _f(
        "number:u28 verdict:u7 out_ms:u14 back_ms:u14 mean:i24 peak:i24 samples:u14 saturated:u7"
    ),
    # Totals of this boot, never set back; rejects modulo 2**14. switches: bit 0 near closed, bit 1
    # far closed. target_left: strokes the drive still has to do, kept when it stops early.
    Kind.COUNTS: _f(
        "counted:u28 partial:u14 too_fast:u14 too_slow:u14 both_closed:u14 wrong_order:u14"
        " stuck:u14 switches:u7 drive:u7 drive_reason:u7 target_left:u28"
    ),
}

COMMANDS: dict[Op, tuple[Field, ...]] = {
    Op.HELLO: (),
    Op.BEAT: (),
    Op.STREAM: _f("channel:u7 on:u7"),
    Op.ARM: _f("low:i16 high:i16"),
    Op.PERMIT: _f("nonce:u28"),
    Op.DISARM: (),
    Op.CLEAR: (),
    Op.STROKES: _f("min_ms:u14 max_ms:u14"),  # time band of a full stroke, there and back
    Op.DRIVE_ARM: _f("target:u28"),
    Op.DRIVE_PERMIT: _f("nonce:u28"),
    Op.DRIVE_STOP: (),
}


@dataclass(frozen=True)
class Channel:
    """Samples: payload is `prefix` (counters), then one `sample` after another.

    A value of a channel stands alone in its frame (no running sum), so a lost frame
    costs its own samples and nothing after them. The frame's time is that of its first sample;
    the others of its block follow `period_ticks` apart. With a block of one each sample has its
    own time, and the period is only the nominal one.
    """

    kind: Kind
    name: str
    period_ticks: int
    block: int
    sample: Field
    prefix: tuple[Field, ...]


# Codes at which the 24-bit bridge converter is saturated (its data sheet; two's complement).
LOAD_LIMITS = (-(1 << 23), (1 << 23) - 1)
ANGLE_SUM = 64  # conversions of 10 bits summed in one angle sample, 8 in each millisecond


CHANNELS: dict[Kind, Channel] = {
    Kind.HEIGHT: Channel(
        Kind.HEIGHT,
        "height",
        period_ticks=2_000,
        block=10,
        sample=Field("count", 16, signed=True),
        prefix=_f("illegal_edges:u7 missed_samples:u7"),
    ),
    # Time: the falling edge of data-ready, so conversions are spaced by the converter's own clock.
    Kind.LOAD: Channel(
        Kind.LOAD,
        "load",
        period_ticks=25_000,
        block=1,
        sample=Field("code", 24, signed=True),
        prefix=_f("faults:u7 discarded:u7"),
    ),
    # Time: the start of the first conversion of the sum; the last ends about 7.8 ms later.
    Kind.ANGLE: Channel(
        Kind.ANGLE,
        "angle",
        period_ticks=16_000,
        block=5,
        sample=Field("sum", 16),
        prefix=_f("missed_samples:u7"),
    ),
}

# Limits the firmware enforces; the host quotes them and never relies on its own copy.
LIMITS: dict[str, int] = {
    "BEAT_LIMIT_MS": 500,
    "ARM_LIMIT_MS": 5_000,
    "PERMIT_LIMIT_MS": 10_000,
    "STEADY_MS": 500,
    "STEADY_COUNTS": 1,
    "BUTTON_DEBOUNCE_MS": 20,
    "CATCH_LEAD_MS": 60,
    "LATCH_LIMIT_MS": 250,
    "DROPPED_COUNTS": 80,
    "FLIGHT_LIMIT_MS": 2_000,
    "STATUS_PERIOD_MS": 100,
    "WATCHDOG_MS": 250,
    "LOAD_SILENT_MS": 400,
    "LOAD_READ_MS": 8,
    "SWITCH_STABLE_MS": 8,  # contacts bounce for 5 ms at most
    "SWITCH_STUCK_MS": 5_000,
    "STROKE_STALL_MS": 5_000,
    "STROKE_MIN_MS": 200,  # the band until STROKES sets another
    "STROKE_MAX_MS": 10_000,
    "COUNTS_PERIOD_MS": 500,
}

# Pin numbers as Firmata counts them (0-13 digital, 14-19 = A0-A5).
PINS: dict[str, int] = {
    "SERIAL_RX": 0,
    "SERIAL_TX": 1,
    "ENCODER_A": 2,
    "ENCODER_B": 3,
    "GUARD": 4,
    "ESTOP": 5,
    "BUTTON": 6,
    "NEAR": 7,
    "GATE": 8,
    "LATCH": 9,
    "CATCH": 10,
    "LAMP": 11,
    "LOAD_DATA": 14,
    "LOAD_CLOCK": 15,
    "ANGLE": 16,
    "FAR": 17,
    "DRIVE": 18,  # D12 is MISO: programming would switch what hangs there
}


ENUMS: tuple[type[enum.IntEnum], ...] = (
    Kind, Op, Event, State, Output, Input, LoadFault, Stroke, DriveState, Reason,
)  # fmt: skip


def septets(value: int, field: Field) -> bytes:
    """Cut `value` into the field's septets.

    Raises:
        ValueError: the value does not fit the field.
    """
    if value not in field.span:
        raise ValueError(f"{field.name}={value} does not fit {field.bits} bits")
    value &= (1 << field.bits) - 1
    if field.septets == 1:
        return _BYTES[value]
    return bytes([(value >> shift) & 0x7F for shift in range(0, 7 * field.septets, 7)])


_BYTES = [bytes([value]) for value in range(128)]


def number(data: bytes, field: Field) -> int:
    """The number that `data` (exactly the field's septets) carries."""
    value = shift = 0
    for septet in data:
        value |= septet << shift
        shift += 7
    value &= (1 << field.bits) - 1
    if field.signed and value >> field.bits - 1:
        value -= 1 << field.bits
    return value


def pack(fields: tuple[Field, ...], values: dict[str, int]) -> bytes:
    """The fields' septets one after another."""
    return b"".join([septets(values[field.name], field) for field in fields])


def unpack(fields: tuple[Field, ...], data: bytes) -> dict[str, int]:
    """The numbers in `data`.

    Raises:
        ValueError: `data` is not exactly as long as the fields.
    """
    values, at = {}, 0
    for field in fields:
        end = at + field.septets
        values[field.name] = number(data[at:end], field)
        at = end
    if at != len(data):
        raise ValueError(f"{len(data)} bytes where the wire says {at}")
    return values


def width(fields: tuple[Field, ...]) -> int:
    """Bytes the fields take on the wire."""
    return sum(field.septets for field in fields)


def _sealed(sysex: int, body: bytes) -> bytes:
    inner = bytes([sysex]) + body
    return bytes([START]) + inner + septets(zlib.crc32(inner), CRC) + bytes([END])


def frame(kind: Kind, seq: int, time: int, payload: bytes) -> bytes:
    """A whole board-to-host frame, `F0` to `F7`."""
    return _sealed(FRAME_SYSEX, pack(HEAD, {"kind": kind, "seq": seq, "time": time}) + payload)


def block(kind: Kind, seq: int, time: int, prefix: dict[str, int], samples: list[int]) -> bytes:
    """A whole frame of channel samples."""
    channel = CHANNELS[kind]
    body = b"".join(septets(sample, channel.sample) for sample in samples)
    return frame(kind, seq, time, pack(channel.prefix, prefix) + body)


def command(op: Op, seq: int, **values: int) -> bytes:
    """A whole host-to-board command, `F0` to `F7`."""
    return _sealed(
        COMMAND_SYSEX, pack(COMMAND_HEAD, {"op": op, "seq": seq}) + pack(COMMANDS[op], values)
    )


def description() -> int:
    """CRC-32 of everything that host and firmware must agree on; HELLO carries it."""
    told = (
        WIRE_VERSION,
        [(k.name, int(k)) for e in ENUMS for k in e],
        HEAD,
        COMMAND_HEAD,
        sorted((int(k), v) for k, v in PAYLOADS.items()),
        sorted((int(k), v) for k, v in COMMANDS.items()),
        sorted((int(k), v) for k, v in CHANNELS.items()),
        sorted(LIMITS.items()),
        sorted(PINS.items()),
    )
    return zlib.crc32(repr(told).encode())
