"""The host's commands, judged and carried out as the firmware does."""

import zlib
from collections.abc import Callable

from rig.board import wire
from rig.board.wire import Op, Reason
from rig.virtual.board.logic import Nonces
from rig.virtual.board.safety import Answer, Safety
from rig.virtual.board.strokes import Strokes

_CRC = wire.CRC.septets
_HEAD = wire.width(wire.COMMAND_HEAD)
_BAD = Reason.BAD_COMMAND, 1 << Reason.BAD_COMMAND
_EMPTY = Reason.BAD_WINDOW, 1 << Reason.BAD_WINDOW
_DONE = Reason.NONE, 0


class Orders:
    """Carries commands to the interlocks, the strokes and the channels.

    `stream(channel, on)` is false for a channel that does not exist.
    """

    def __init__(
        self,
        safety: Safety,
        strokes: Strokes,
        boot: int,
        stream: Callable[[int, bool], bool],
        hello: Callable[[], None],
    ) -> None:
        self._safety, self._strokes = safety, strokes
        self._stream, self._hello = stream, hello
        self._nonces = Nonces(boot, 0)

    def obey(self, data: bytes, ticks: int) -> tuple[dict[str, int], Answer] | None:
        """Head and answer of a command (sysex id first, seal last); None for a damaged one."""
        body, seal = data[:-_CRC], data[-_CRC:]
        if len(body) <= _HEAD or seal != wire.septets(zlib.crc32(body), wire.CRC):
            return None
        head = wire.unpack(wire.COMMAND_HEAD, body[1 : 1 + _HEAD])
        return head, self._carry_out(head["op"], body[1 + _HEAD :], ticks)

    def _carry_out(self, code: int, payload: bytes, ticks: int) -> Answer:
        try:
            op = Op(code)
            told = wire.unpack(wire.COMMANDS[op], payload)
        except ValueError:
            return _BAD
        if not told:
            return self._bare(op)
        safety = self._safety
        match op:
            case Op.ARM:
                return safety.arm(told["low"], told["high"], self._nonces.next(ticks))
            case Op.PERMIT:
                return safety.interlock.permit(told["nonce"])
            case Op.DRIVE_ARM:
                return safety.arm_drive(told["target"], self._nonces.next(ticks))
            case Op.DRIVE_PERMIT:
                return safety.permit_drive(told["nonce"])
            case Op.STROKES:
                band = told["min_ms"], told["max_ms"]
                return _DONE if self._strokes.set_band(*band) else _EMPTY
            case _:
                return _DONE if self._stream(told["channel"], bool(told["on"])) else _BAD

    def _bare(self, op: Op) -> Answer:
        """Commands without arguments."""
        safety = self._safety
        if op is Op.CLEAR:
            return safety.interlock.clear()
        if op is Op.BEAT:
            safety.interlock.beat()
        elif op is Op.DISARM:
            safety.disarm()
        elif op is Op.DRIVE_STOP:
            safety.stop_drive()
        else:
            self._hello()
        return _DONE
