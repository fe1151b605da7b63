"""The person at the virtual bench: typed lines become motions of the hands."""

import re

from rig.virtual.person import Person
from rig.virtual.tower.hands import Hands
from tests.emulator.emulator import EmulatedBoard

HELP = """\
contact              lower the carriage until the striker rests on the specimen
raise 250mm          hang the carriage with the striker that far above contact
lift                 lift the carriage clear and leave it on the catch
specimen             put a fresh specimen in place
press                press the release button
guard open|close     move the guard
estop press|reset    hit the emergency stop, or turn it out again
hand free            let go of the arm; the same way, word by word as the procedures ask:
                     hand hang mass_kg=1 side=right / unhang / stop angle_deg=15
                     hand sweep to_deg=42 / seat specimen=K3 depth_m=0.006 block=hardwood
                     hand pry side=right / unload / set_edge specimen=K3 length_m=0.02
                     hand twist amplitude_deg=8 cycles=5 rate_deg_s=8
                     hand mount specimen=K3 / strokes count=20 / take_out specimen=K3
pin 13 high|low      put a level on the free pin
look                 what there is to see
quit                 end"""

_UNITS = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
_FREE = (13,)


class Quit(Exception):
    """The person wants to end."""


class Console:
    """Carries out lines on `hands` and `board`; `person` knows the words at jig and frame."""

    def __init__(self, hands: Hands, board: EmulatedBoard, person: Person) -> None:
        self._hands = hands
        self._board = board
        self._person = person
        self._plain = {
            "contact": hands.lower_to_contact,
            "lift": hands.lift_off,
            "specimen": hands.load_specimen,
            "press": hands.press_button,
            "guard open": hands.open_guard,
            "guard close": hands.close_guard,
            "estop press": hands.press_estop,
            "estop reset": hands.reset_estop,
        }

    def do(self, line: str) -> str:
        """Carry out one line; returns what to tell the person.

        Raises:
            Quit: the line says so.
        """
        words = " ".join(line.lower().split())
        if words in self._plain:
            return self._until(self._plain[words]())
        if words == "quit":
            raise Quit
        if words == "look":
            return self._look()
        if words.startswith("raise"):
            return self._raise(words)
        if words.startswith("pin"):
            return self._pin(words)
        if words.startswith("hand"):
            return self._hand(line.split()[1:])
        return HELP if words in ("help", "") else f"'{line.strip()}' is not known; try help"

    def _until(self, done_s: float) -> str:
        return f"done in {max(0.0, done_s - self._board.now_s):.1f} s"

    def _raise(self, words: str) -> str:
        match = re.fullmatch(r"raise (\d+(?:\.\d+)?) ?(mm|cm|m)", words)
        if match is None:
            return "raise needs a height with its unit, such as: raise 250mm"
        return self._until(self._hands.raise_to(float(match[1]) * _UNITS[match[2]]))

    def _hand(self, words: list[str]) -> str:
        pairs = [word.partition("=") for word in words[1:]]
        detail = {name: _number(value) for name, _, value in pairs}
        try:
            return f"done in {self._person.act(words[0], detail):.1f} s"
        except RuntimeError as error:  # nothing seated, for one
            return f"not now: {error}"
        except (IndexError, KeyError, ValueError):
            return "hand needs a word and what it takes, such as: hand hang mass_kg=1 side=right"

    def _pin(self, words: str) -> str:
        match = re.fullmatch(r"pin (\d+) (high|low)", words)
        if match is None or int(match[1]) not in _FREE:
            return "pin needs a free pin and a level, such as: pin 13 high"
        self._board.set_pin(int(match[1]), int(match[2] == "high"))
        return "done"

    def _look(self) -> str:
        levels = self._board.tower.levels()
        guard = "open" if levels["GUARD"] else "closed"
        estop = "pressed" if levels["ESTOP"] else "out"
        on = [name.lower() for name in ("LATCH", "CATCH", "LAMP") if self._board.on(name)]
        lit = f"energised: {', '.join(on)}" if on else "nothing energised"
        return f"guard {guard}, e-stop {estop}, {lit}"


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
