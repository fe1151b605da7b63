"""A boot loader on a pseudo-terminal: the part of STK500 version 1 that avrdude speaks to one.

Numbers: Atmel application note AVR061 (STK500 communication protocol). Signature 1E 95 0F is the
ATmega328P's (data sheet, signature bytes).
"""

import os
import threading
import tty

OK, IN_SYNC, END = b"\x10", b"\x14", 0x20
GET_SYNC, GET_PARAMETER, SET_DEVICE, SET_DEVICE_EXT = 0x30, 0x41, 0x42, 0x45
ENTER, LEAVE, LOAD_ADDRESS, UNIVERSAL = 0x50, 0x51, 0x55, 0x56
PROGRAM_PAGE, READ_PAGE, READ_SIGNATURE = 0x64, 0x74, 0x75
ARGUMENTS = {GET_PARAMETER: 1, SET_DEVICE: 20, SET_DEVICE_EXT: 5, LOAD_ADDRESS: 2, UNIVERSAL: 4}
SIGNATURE = b"\x1e\x95\x0f"
FLASH_SIZE = 32 * 1024


class Far:
    """The far side of a pseudo-terminal, answered by `answer` in a thread of its own."""

    def __init__(self) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        self.path = os.ttyname(self._far)
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def answer(self, data: bytes) -> bytes:
        """What to say to these bytes."""
        raise NotImplementedError

    def close(self) -> None:
        """End it: hanging up wakes the thread."""
        os.close(self._far)
        self._thread.join()
        os.close(self._near)

    def _serve(self) -> None:
        while True:
            try:
                data = os.read(self._near, 4096)
            except OSError:  # nobody holds the other end any more
                return
            reply = self.answer(data)
            if reply:
                os.write(self._near, reply)


class Mute(Far):
    """Nothing there."""

    def answer(self, data: bytes) -> bytes:
        return b""


class Chatter(Far):
    """A program that talks, but is no boot loader."""

    def answer(self, data: bytes) -> bytes:
        return b"\xf9\x02\x08" * len(data)


class BootLoader(Far):
    """Writes and reads its `flash`; `broken` writes a wrong byte into every page."""

    def __init__(self, broken: bool = False) -> None:
        self.flash = bytearray(b"\xff" * FLASH_SIZE)
        self.left = False
        self._broken = broken
        self._address = 0
        self._buffer = b""
        super().__init__()

    def answer(self, data: bytes) -> bytes:
        self._buffer += data
        out = b""
        while True:
            size = self._command_size()
            if size is None or len(self._buffer) < size:
                return out
            command, self._buffer = self._buffer[:size], self._buffer[size:]
            assert command[-1] == END
            out += IN_SYNC + self._obey(command[0], command[1:-1]) + OK

    def _command_size(self) -> int | None:
        """Length of the command that begins the buffer; None when too little came to tell."""
        if len(self._buffer) < 3:
            return 2 if len(self._buffer) == 2 else None
        code = self._buffer[0]
        if code == PROGRAM_PAGE:
            return 5 + int.from_bytes(self._buffer[1:3])
        return 5 if code == READ_PAGE else 2 + ARGUMENTS.get(code, 0)

    def _obey(self, code: int, arguments: bytes) -> bytes:
        if code == LOAD_ADDRESS:
            self._address = 2 * int.from_bytes(arguments, "little")  # counted in words
        elif code == PROGRAM_PAGE:
            page = bytearray(arguments[3:])
            page[-1] ^= self._broken
            self.flash[self._address : self._address + len(page)] = page
        elif code == READ_PAGE:
            size = int.from_bytes(arguments[:2])
            return bytes(self.flash[self._address : self._address + size])
        elif code == READ_SIGNATURE:
            return SIGNATURE
        elif code in (GET_PARAMETER, UNIVERSAL):
            return b"\x03"
        self.left = self.left or code == LEAVE
        return b""
