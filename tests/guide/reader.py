"""A person who knows nothing but what stands on the screen, and does just that.

Reads the printed lines, not the steps: an instruction is carried out at the virtual rig as its
words say, a question is answered by what the eye sees there. Whoever is clumsy is made of this
one, in `tests.guide.clumsy`.
"""

import io
import re
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from rich.console import Console

from rig.board.link import Link
from rig.guide.terminal import TerminalOperator
from rig.virtual.person import Person

THINK_S = 0.4
WORDS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    (r"Clamp the blunt blank", "bare", ()),
    (r"clamp blade (\S+) by its spine, edge up", "load", ("specimen",)),
    (r"Lower (?:the carriage|it) (?:by|onto)", "lower", ()),
    (r"Raise the carriage to ([\d.]+) mm above", "raise", ("height_m",)),
    (r"Raise the carriage clear", "lift", ()),
    (r"until its pointer is on the rule's ([\d.]+) mm", "rule", ("mark_m",)),
    (r"Close the guard|shield closed", "ready", ()),
    (r"^>> PRESS NOW", "press", ()),
    (r"Nothing (?:seated|clamped)|^Zero", "free", ()),
    (r"[Hh]ang ([\d.]+) kg so that it pulls (\w+)", "hang", ("mass_kg", "side")),
    (r"Take (?:the|every) weight off", "unhang", ()),
    (r"Pin at (-?[\d.]+)°", "stop", ("angle_deg",)),
    (r"Take the pin out and let", "free", ()),
    (r"clamp blade (\S+) flat in the arm, its tip free", "clamp_blade", ("specimen",)),
    (r"the (\w+) block in, slid onto the tip of blade (\S+) ([\d.]+) mm deep", "seat",
     ("block", "specimen", "depth_m")),
    (r"clamp blade (\S+) in the arm, its edge .* along ([\d.]+) mm", "set_edge",
     ("specimen", "length_m")),
    (r"^>> PULL NOW: slowly ([\d.]+)° to the (right|left)", "sweep", ("to_deg", "side")),
    (r"^>> PULL NOW: to the (right|left)", "pry", ("side",)),
    (r"^>> TURN NOW: ([\d.]+)°", "twist", ("amplitude_deg",)),
    (r"[Ll]et the arm back (?:slowly|to its)", "unload", ()),
    (r"put (.+) in\. Hands out", "feed", ("sheet",)),
    (r"clamp blade (\S+) by its spine, edge down", "mount", ("specimen",)),
    (r"^> (\S+) (?:sharpness|at the start|after \d+ cuts)\..*by its spine, wipe it", "take_out",
     ("specimen",)),
    (r"[Pp]ush (?:the carriage|it) home", "home", ()),
    (r"^> 12 V plug OUT, motor's plug out, carriage down", "commission", ()),
    (r"(?i)^>> (close|open) (?:the|a|it)\b", "guard", ("to",)),
    (r"(?i)^>> (press|turn) the e-stop", "estop", ("to",)),
    (r"^>> (Press|Let) the (?:release )?button", "button", ("to",)),
    (r"^>> (Hold a|Take the) card", "card", ("to",)),
    (r"^>> PRESS AGAIN", "press", ()),
    (r"^>> By the hand lever, raise", "up", ()),
    (r"^>> By the hand lever, let it down", "down", ()),
    (r"push the grip to the (right)", "push", ("side",)),
    (r"^>> (?:Let the grip go|Bring it back to its zero)", "let_go", ()),
    (r"^>> .*Turn the arm a hand's breadth", "turn", ()),
    (r"^>> Push the cutting carriage to its far end", "far", ()),
    (r"that clears the trip|e-stop up|Turn the e-stop out; open", "ready", ()),
)  # fmt: skip
"""Words on the screen -> what hands do, and what the words say of it."""
BECOMES = {
    "close": "closed", "open": "open", "press": "pressed", "turn": "out", "let": "up",
    "hold a": "in", "take the": "out",
}  # fmt: skip
"""What a contact is after the verb that a prompt begins with."""
ENDED = re.compile(r"It gave way|Angle limit|Torque limit|All cycles done|Done\.")
TOGETHER = ("ready", "unload")  # come beside another action in one sentence


class Stuck(AssertionError):
    """The screen asks for something that its words do not tell how to do."""


@dataclass
class Line:
    """What was typed and not yet taken, each line at its time."""

    read: Callable[[], None]
    now: Callable[[], float]
    live: bool = True
    waiting: deque[tuple[float, str]] = field(default_factory=deque)

    def __len__(self) -> int:
        return len(self.waiting)

    def first(self) -> str | None:
        """The line typed by now."""
        self.read()
        return self.waiting[0][1] if self.waiting and self.waiting[0][0] <= self.now() else None

    def take(self) -> str | None:
        """The same, taken."""
        line = self.first()
        if line is not None:
            self.waiting.popleft()
        return line

    def ended(self) -> bool:
        """A keyboard has no end."""
        return False

    def forget(self) -> None:
        """What was typed before a prompt."""
        self.waiting.clear()


class Screen(io.StringIO):
    """Counts what a person reads and types."""

    prompts = words = keys = 0
    read: Callable[[], None] | None = None

    def write(self, text: str) -> int:
        """Print; whoever stands before it reads at once."""
        self.words += len(text.split())
        self.prompts += text.startswith(("> ", "? ", "\n? "))
        written = super().write(text)
        if self.read is not None and text.endswith("\n"):
            self.read()
        return written


class Desk(TerminalOperator):
    """The terminal, its reader's thread left out."""

    def __init__(self, lines: Any, screen: Screen) -> None:
        self._console = Console(file=screen, width=2000, highlight=False)
        self.lines = lines
        self._live = None
        self._told_how = False


@dataclass
class Reader:
    """Reads, does, types.

    Attributes:
        link: gives the line of the moment, for its clock.
        answers: pattern of a question -> the answer to it.
        done: what hands did, in order.
    """

    hands: Person
    link: Callable[[], Link]
    answers: Mapping[str, Callable[[re.Match[str]], str]]
    screen: Screen = field(default_factory=Screen)
    done: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    text: str = ""
    _seen: int = 0
    _busy_until: float = 0.0
    _cycles: int = 0
    _count: int = 0
    _drawing: bool = False
    _moving: bool = False
    _had: int = 0

    def __post_init__(self) -> None:
        self.line = Line(self.read, self.now)
        self.desk = Desk(self.line, self.screen)
        self.screen.read = self.read

    def now(self) -> float:
        """The clock on the wall."""
        return self.link().clock.now()

    # -- reading

    def read(self) -> None:
        """Read what came on the screen, and begin what it says."""
        text = self.screen.getvalue()[self._seen :]
        self._seen += len(text)
        for line in text.splitlines():
            if line.strip():
                self.take_in(line)
        if self._drawing and self.now() > self._busy_until + 2:
            self.act("strokes", {"count": 1})  # the screen does not say Stop yet

        if self._moving and self.now() > self._busy_until + 3:
            self._moving = False
            self.type("done")  # it goes no further, and the screen says nothing

    def take_in(self, line: str) -> None:
        """One line of the screen."""
        if ENDED.match(line):
            self._moving = False
        if line.startswith("? "):
            self.text = line
            self.type(self.answer(line))
        elif line.startswith("> "):
            self.text = line
            self.note(line)
            self.do(line)
        elif line.startswith("  Enter when"):
            self.confirm(line)
        elif "does nothing here" in line:
            self.type("")
        elif line.startswith(">> DRAW NOW"):
            self._drawing = True
            self.act("strokes", {"count": self.left()})
        elif line.startswith("Stop: "):
            self._drawing = False
        elif not line.startswith("! "):
            self.note(line)
            self.do(line)

    def note(self, line: str) -> None:
        """Numbers to keep in mind until they are needed."""
        if told := re.search(r"right, then [\d.]+° left, (\d+) times", line):
            self._cycles = int(told[1])
        if told := re.search(r"DRAW NOW (?:draw )?(\d+) (?:full strokes|cuts)", line):
            self._count, self._had = int(told[1]), self.strokes()
        if told := re.search(r"^(\d+) of (\d+) cuts are made", line):
            self._count, self._had = int(told[2]), self.strokes() - int(told[1])

    def strokes(self) -> int:
        """Full strokes truly made."""
        assert self.hands.at_frame is not None
        return self.hands.at_frame._frame.strokes

    def left(self) -> int:
        """Strokes that the screen still wants."""
        return max(1, self._count - (self.strokes() - self._had))

    # -- doing

    def do(self, line: str) -> None:
        """What a line tells hands to do."""
        for pattern, word, names in WORDS:
            told = re.search(pattern, line)
            if told:
                detail = self.meant(word, dict(zip(names, told.groups(), strict=True)))
                if word == "sweep":
                    detail["both"] = int("then as far to the left" in line)
                self.act(word, detail)
                if word not in TOGETHER and not line.startswith(">> "):
                    break
        if "shield closed" in line:
            self.act("ready", {})

    def meant(self, word: str, said: dict[str, Any]) -> dict[str, Any]:
        """The words as numbers in SI."""
        told: dict[str, Any] = {}
        for name, text in said.items():
            told[name] = text
            if name.endswith("_m"):
                told[name] = float(text) / 1e3
            elif name.endswith(("_kg", "_deg")):
                told[name] = float(text)
        if "to" in told:
            told["to"] = BECOMES[told["to"].lower()]
            if word == "button" and told["to"] == "pressed":
                told["to"] = "down"
        if word == "sweep":
            told["to_deg"] *= -1 if told.pop("side") == "left" else 1
        if word == "twist":
            told |= {"cycles": self._cycles, "rate_deg_s": 8.0}
        return told

    def act(self, word: str, detail: dict[str, Any]) -> None:
        """Begin it at the rig."""
        self.done.append((word, detail))
        self._moving = word in ("sweep", "pry", "twist")
        self._busy_until = max(self._busy_until, self.now()) + self.hands.act(word, detail)

    # -- typing

    def confirm(self, line: str) -> None:
        """Enter, when hands have done."""
        self.type("")

    def type(self, text: str) -> None:
        """A line, once hands are free."""
        self.screen.keys += len(text) + 1
        self.line.waiting.append((max(self._busy_until, self.now()) + THINK_S, text))

    def answer(self, line: str) -> str:
        """What to type in answer to a question."""
        for pattern, give in self.answers.items():
            told = re.search(pattern, line)
            if told:
                return give(told)
        default = re.search(r" \[([^\]]*)\]$", line)
        if default:
            return ""
        raise Stuck(line)
