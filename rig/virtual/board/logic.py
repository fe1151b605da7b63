"""Small pieces of the firmware: nonces and debounced contacts."""

DEBOUNCE_MS = 5


class Nonces:
    """Numbers the host cannot know beforehand (Marsaglia's xorshift32, triple 13, 17, 5)."""

    def __init__(self, boot: int, time: int) -> None:
        self._state = ((boot << 16 | time & 0xFFFF) & 0xFFFFFFFF) ^ 0x9E3779B9 or 1

    def next(self, time: int) -> int:
        """28 bits, never zero."""
        x = self._state ^ time or 1
        x ^= x << 13 & 0xFFFFFFFF
        x ^= x >> 17
        x ^= x << 5 & 0xFFFFFFFF
        self._state = x
        return x & 0x0FFFFFFF or 1


class Contact:
    """A contact whose change is told once it has lasted `stable_ms`."""

    def __init__(self, level: int, stable_ms: int = DEBOUNCE_MS) -> None:
        self.level = level
        self._stable_ms = stable_ms
        self._differing_ms = 0
        self._since = 0

    def rests(self, level: int) -> bool:
        """A tick with this level would change nothing."""
        return level == self.level and self._differing_ms == 0

    def tick(self, level: int, now: int) -> int | None:
        """Time at which a change now believed began, if one has just been believed."""
        if level == self.level:
            self._differing_ms = 0
            return None
        if self._differing_ms == 0:
            self._since = now
        self._differing_ms += 1
        if self._differing_ms < self._stable_ms:
            return None
        self.level = level
        self._differing_ms = 0
        return self._since
