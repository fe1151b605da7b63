"""What an emulated chip is shown besides pin edges: the arm's angle and the bridge converter."""

import numpy as np

from rig.board import wire
from tests.emulator.chip import Chip, ConverterFault
from tests.emulator.pace import Pace
from tests.emulator.world import Converter, Jig

ANGLE_INPUT = wire.PINS["ANGLE"] - 14
KNOT_S = 1e-3  # between two looks at the arm's angle; straight in between


class Feed:
    """Brings the chip what jig and converter will show it, in order of time."""

    def __init__(
        self, chip: Chip, pace: Pace, jig: Jig | None, converter: Converter | None
    ) -> None:
        self._chip, self._pace, self._fed_s = chip, pace, pace.origin_s
        self._jig, self._converter = jig, converter
        self._stuck = False
        if converter is not None:
            chip.conversions([])

    def until(self, until_s: float, powered: bool) -> None:
        """Up to this plant time; what comes while there is no power is lost."""
        begin, self._fed_s = self._fed_s, max(self._fed_s, until_s)
        if self._converter is not None:
            self._convert(self._converter, until_s, powered)
        if self._jig is not None and powered and until_s > begin:
            t_s = np.linspace(begin, until_s, 2 + int((until_s - begin) / KNOT_S))
            ratio = self._jig.angle_ratio(t_s)
            self._chip.analog_course(ANGLE_INPUT, self._pace.cycles(t_s), ratio)

    def _convert(self, converter: Converter, until_s: float, powered: bool) -> None:
        ready = converter.take(until_s)
        if converter.stuck != self._stuck:
            self._stuck = converter.stuck
            fault = ConverterFault.STUCK_LOW if self._stuck else ConverterFault.NONE
            self._chip.converter_fault(fault)
        if powered:
            self._chip.conversions((self._pace.cycle(t_s), code) for t_s, code in ready)
