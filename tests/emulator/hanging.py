"""A main loop that stands still though its interrupts live: a jump to itself in the flash."""

from tests.emulator.chip import Chip

RJMP_SELF = b"\xff\xcf"  # 0xCFFF: jump to this very instruction


class Hanging:
    """Puts the jump where the program sleeps, and takes it away again."""

    def __init__(self, chip: Chip) -> None:
        self._chip = chip
        self._kept: tuple[int, bytes, int] | None = None

    def begin(self) -> None:
        """The program must be asleep, so that it meets the jump when it wakes."""
        chip = self._chip
        at = chip.program_counter
        self._kept = at, chip.flash(at, len(RJMP_SELF)), chip.counters().resets
        chip.set_flash(at, RJMP_SELF)

    def end(self) -> None:
        """The program goes on, if it hangs."""
        if self._kept is not None:
            at, words, _ = self._kept
            self._chip.set_flash(at, words)
            self._kept = None

    def end_after_reset(self) -> None:
        """Nothing unless a reset has come since it began."""
        if self._kept is not None and self._chip.counters().resets > self._kept[2]:
            self.end()
