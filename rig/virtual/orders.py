"""The host's commands, judged and carried out as the firmware does."""

import zlib
from collections.abc import Callable

from rig.board import wire
from rig.board.wire import Op, Reason
from rig.virtual.interlock import Interlock
from rig.virtual.logic import Nonces

_CRC = wire.CRC.septets
_HEAD = wire.width(wire.COMMAND_HEAD)
_BAD = Reason.BAD_COMMAND, 1 << Reason.BAD_COMMAND
_DONE = Reason.NONE, 0

Answer = tuple[Reason, int]


class Orders:
    """Carries commands to the interlock and the channels.

    `stream(channel, on)` is false for a channel that does not exist.
    """

    def __init__(
        self,
        interlock: Interlock,
        boot: int,
        stream: Callable[[int, bool], bool],
        hello: Callable[[], None],
    ) -> None:
        self._interlock, self._stream, self._hello = interlock, stream, hello
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
        lock = self._interlock
        if op is Op.ARM:
            return lock.arm(told["low"], told["high"], self._nonces.next(ticks))
        if op is Op.PERMIT:
            return lock.permit(told["nonce"])
        if op is Op.CLEAR:
            return lock.clear()
        if op is Op.STREAM:
            return _DONE if self._stream(told["channel"], bool(told["on"])) else _BAD
        if op is Op.BEAT:
            lock.beat()
        elif op is Op.DISARM:
            lock.disarm()
        else:
            self._hello()
        return _DONE
