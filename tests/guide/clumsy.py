"""A clumsy person's sessions on the virtual rig: what the words on the screen make of a blade.

Obeys the screen to the letter and does what people do besides: pulls, draws or presses before it
is asked for, types wrong units and wrong numbers, takes the wrong blade, drops one, closes the lid
or presses Ctrl-C anywhere, types words that mean nothing. After each session the truth of the rig
stands beside the record.
"""

import random
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rig import bench as benches
from rig.board.samples import capture
from rig.board.wire import Kind
from rig.errors import RigError
from rig.guide import script as scripts
from rig.guide.parameters import read_all
from rig.guide.runner import Runner
from rig.guide.verdict import verdicts as read_verdicts
from rig.logbook import Logbook
from rig.measure.scales import Scale
from rig.session.devices import virtual_device
from rig.virtual.arm.truth import Failure
from tests.guide.reader import Reader, Stuck

PROCEDURES: Mapping[str, dict[str, str]] = {
    "drop_impact": {"energy": "5 J"},
    "pry_to_failure": {},
    "edge_twist": {"cycles": "3"},
    "cuts_to_dull": {"first": "8", "ratio": "2", "limit": "60"},
    "sharpness": {"probe": "shave,force", "readings": "5"},
    "hardness": {},
    "staircase_impact": {"energy": "4 J", "drops": "6"},
    "calibrate_angle": {"operator": "AB"},
    "calibrate_height": {"operator": "AB", "marks": "100 mm, 300 mm, 500 mm, 700 mm"},
    "calibrate_load": {"operator": "AB", "weights": "1 kg, 5 kg, 10 kg"},
    "commission": {"operator": "AB"},
}
OFTEN = (5, 8, 6, 6, 3, 4, 1, 1, 1, 1, 1)
TRIES = 12  # lives of one session: the last ones are careful
NONSENSE = ("no", "help", "?", "ok", "yes?", "wait")
SWAPPED, DROPPED = "the wrong blade was clamped", "the blade fell on the floor"


class Lid(BaseException):
    """The computer is gone: not a word more is written."""


class Clumsy(Reader):
    """One person; `care` 1 makes no mistake at all."""

    def __init__(self, rng: random.Random, care: float, **given: Any) -> None:
        super().__init__(answers=self._answers(), **given)
        self.rng, self.care = rng, care
        self.intended: dict[str, str] = {}  # question -> what was meant
        self.mistyped = ""
        self.early = 0
        self.leaving = ""
        self.reason_to_leave = ""
        self._pending = ""  # the answer that a correction asks for

    def slips(self, share: float) -> bool:
        """Whether it happens now."""
        return self.rng.random() < share * (1 - self.care)

    # -- acting

    def take_in(self, line: str) -> None:
        """Some lines give ideas."""
        if line.startswith("? You answered "):
            self.type(self._pending)
            self._pending = ""
            return
        if line.startswith("? Why? "):
            self.type(self.rng.choice(("", "slipped")))
            return
        if line.startswith("  = ") and self.mistyped:
            self._pending, self.mistyped = self.mistyped, ""  # that is not what was meant
            return
        super().take_in(line)

    def confirm(self, line: str) -> None:
        """Enter, or what comes to a clumsy person's mind first."""
        if self._pending:
            self.type("back")
            return
        asked = self.text
        for what, share in ((DROPPED, 0.02), (SWAPPED, 0.05)):
            if re.search(r"[Cc]lamp blade", asked) and self.slips(share):
                self.reason_to_leave = what
        if self.reason_to_leave and not re.search(r"[Cc]lamp blade", asked):
            self.type("stop")  # it is noticed before anything is done with the blade
            return
        if self.slips(0.08):
            self.type(self.rng.choice(NONSENSE))
        if "wait for PULL NOW" in line and self.slips(0.3):
            self.early += 1
            self.act(*self.pulled(asked))
        if "wait for TURN NOW" in line and self.slips(0.3):
            self.early += 1
            self.act("twist", self.meant_turn())
        if "wait for DRAW NOW" in line and self.slips(0.3):
            self.early += 1
            self.act("strokes", {"count": self.left()})
        self.type("")
        if self.slips(0.03):
            self.type("")  # Enter twice

    def pulled(self, asked: str) -> tuple[str, dict[str, Any]]:
        """The motion that a prompt tells of, before its word."""
        swept = re.search(r"zero mark ([\d.]+)° to the (right|left)", asked)
        if swept is None:
            return "pry", {"side": "left" if "to the left" in asked else "right"}
        way = -1 if swept[2] == "left" else 1
        both = int("then as far to the left" in asked)
        return "sweep", {"to_deg": way * float(swept[1]), "both": both}

    def meant_turn(self) -> dict[str, Any]:
        """Amplitude and cycles as the screen names them."""
        told = re.search(r"turn the arm to ([\d.]+)° right", self.text)
        assert told is not None
        return {"amplitude_deg": float(told[1]), "cycles": self._cycles, "rate_deg_s": 8.0}

    # -- answering

    def type(self, text: str) -> None:
        """At a question a mistake of an answer before comes to mind."""
        if self._pending and self.text.startswith("? ") and text not in ("back", self._pending):
            text = "back"
        super().type(text)

    def quantity(self, name: str, value: float, unit: str = "mm") -> str:
        """A number with its unit, now and then with a wrong one or none."""
        right = f"{value:.6g} {unit}"
        self.intended[name] = right
        if self.slips(0.10):
            wrong = self.rng.choice(("", "in", "cm", "um")) if unit == "mm" else "kgf"
            if wrong:
                self.mistyped = right
            return f"{value:.6g} {wrong}".strip()
        if self.slips(0.05):
            return self.rng.choice(("", "x", "-3 mm", "1e99 mm", "12,5 mm"))
        return right

    def reading(self, name: str, value: float, unit: str) -> str:
        """One of several of a kind: a wrong digit shows beside its fellows."""
        right = f"{value:.6g}{unit}"
        if self.slips(0.08) and f"once {name}" not in self.intended:
            self.intended[f"once {name}"] = right
            return f"{value / 10:.6g}{unit}" if unit else f"{value - 10:.6g}"
        return right

    def _answers(self) -> dict[str, Callable[[re.Match[str]], str]]:
        hands = lambda: self.hands  # noqa: E731 - the person is told later who has the hands

        def seen(key: str) -> Callable[[re.Match[str]], str]:
            return lambda _: hands().damage()[key]

        def size(name: str, key: str) -> Callable[[re.Match[str]], str]:
            def give(_: re.Match[str]) -> str:
                twisted = "twist" in " ".join(word for word, _ in self.done[-8:])
                look = hands().edge_after_twist() if twisted else hands().damage()
                return self.quantity(name, max(float(look[key].split()[0]), 0.01))

            return give

        return {
            r"Thickness of blade": lambda _: self.quantity("thickness_m", 2.0),
            r"Width of the blade": lambda _: self.quantity("width_m", 8.0),
            r"How far out|How sure|what is the smallest|How small": lambda _: "",
            r"Look at the tip|Look again, at tip": lambda _: hands().tip()["tip"],
            r"Damage at this site": seen("damage"),
            r"Damage along the twisted": lambda _: hands().edge_after_twist()["damage"],
            r"Depth of": size("depth_m", "depth"),
            r"Width along|Length of edge": size("width_m", "width"),
            r"Lot of": lambda _: "L7",
            r"Thickness of the card": lambda _: self.quantity("thickness_m", 0.5),
            r"(shave|paper) at marks 1 to (\d+)": lambda told: hands().sharpness()[
                f"{told[1]}_{told[2]}"
            ],
            r"force to sever": lambda _: self.reading(
                "severing", float(hands().sharpness()["severing"].split()[0]), " N"
            ),
            r"Look along the edge under": lambda _: hands().sharpness()["edge_look"],
            r"Who calibrates": lambda _: "AB",
            r"block's certificate say": lambda _: "60",
            r"Block, reading": lambda _: self.reading("block", 60 + self.rng.choice((0, 0.5)), ""),
            r"Blade, reading": lambda _: self.reading("blade", 61 + self.rng.choice((0, 0.5)), ""),
            r"Thickness where you will read": lambda _: self.quantity("thickness_m", 3.0),
            r"again, or stop here": lambda _: "again",
            r"contact is [\d.]+ mm lower": lambda _: "dented",
            r"Was it moved": lambda _: "unsure",
            r"Did (?:the carriage|it) fall": lambda _: "unsure",
            r"Go on, another sheet": lambda _: "go on",
            r"It saw (\d+) of .* that it did not see": lambda told: str(
                max(0, self.strokes() - self._had - int(told[1]))
            ),
            r"What changed|What did you find|left out": lambda _: "nobody knows",
            r"Is the cell or lever another": lambda _: "no",
        }


@dataclass
class Session:
    """One session of one procedure; `found` tells what went wrong with it."""

    seed: int
    folder: Path
    care: float = 0.0
    procedure: str = ""  # drawn when left out
    who: type[Clumsy] = Clumsy
    cut: bool = True  # whether Ctrl-C and the lid come between
    found: list[str] = field(default_factory=list)
    lives: int = 0
    end: str = ""

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed)
        drawn = self.rng.choices(list(PROCEDURES), OFTEN)[0]
        self.procedure = self.procedure or drawn
        self.bench = benches.load(None)
        self.device, self.tower, self.hands = virtual_device(self.bench, self.seed)
        self.device.hands = None  # nobody moves but who reads the screen
        name = self.rng.choice("ABCK") + str(self.rng.randrange(1, 9))
        params = {**PROCEDURES[self.procedure]}
        self.script = scripts.load(self.procedure)
        if any(parameter.name == "specimen" for parameter in self.script.parameters):
            params["specimen"] = name
        self.params = read_all(self.script.parameters, params)
        self.killed_in_motion = False
        self.person = self._person(self.care)

    def _person(self, care: float) -> Clumsy:
        return self.who(self.rng, care, hands=self.hands, link=lambda: self.device.link)

    def run(self) -> "Session":
        """To its end, through as many lives as it takes."""
        path = self.folder / f"{self.seed}.logbook"
        Logbook.create(path, title="clumsy").close()
        for self.lives in range(1, TRIES + 1):
            before = self.person
            self.person = self._person(1.0 if self.lives > TRIES - 4 else self.care)
            self.person.intended, self.person.early = before.intended, before.early
            self.person._count, self.person._had = before._count, before._had
            self.person._cycles = before._cycles
            if self._life(path):
                break
        else:
            self.found.append(f"no end in {TRIES} lives: {self.person.screen.getvalue()[-300:]}")
        with Logbook.open(path, writable=False) as book:
            self._judge(book)
        path.unlink()
        return self

    def _life(self, path: Path) -> bool:
        """Until the run has ended (True) or something came between."""
        with Logbook.open(path, writable=True) as book:
            self._cut_somewhere(book)
            runner = Runner(book, self.bench, self.device, self.person.desk)
            open_runs = book.unfinished_runs()
            try:
                if open_runs:
                    runner.resume(open_runs[-1].run_id, self.script)
                else:
                    runner.start(self.script, self.params)
                self.end = "finished"
            except KeyboardInterrupt:
                return self._stopped(path, book)
            except Lid:
                self._again()
                return False
            except RigError as error:
                self.end = f"{error}"
                self._again()
                return bool(book.runs()) and not book.unfinished_runs()
            except Stuck as error:
                self.found.append(f"the screen leaves one alone with: {error}")
                return True
            return True

    def _stopped(self, path: Path, book: Logbook) -> bool:
        """After Ctrl-C or the word stop; who has lost the blade gives the run up."""
        said = self.person.screen.getvalue()
        on = [row.body["step"] for row in book.journal(kind="step")]
        arm = any(step.get("hand") in ("seat", "set_edge") for step in on)
        hangs = any(step["step"] in ("Touch", "Raise") for step in on)
        if (arm or hangs) and "FIRST: " not in said[-900:]:
            self.found.append("stopped, and nothing said what to make safe")
        if self.person.reason_to_leave:
            run = book.unfinished_runs()[-1]
            book.end_run(run.run_id, "abandoned", self.person.reason_to_leave)
            self.end = self.person.reason_to_leave
            return True
        self._again()
        return False

    def _again(self) -> None:
        """A fresh line to the same rig; the hand that stopped the program has left the handle."""
        if self.procedure == "cuts_to_dull":
            self.hands.act("home", {})
        if self.person._moving:
            self.hands.act("unload", {})
        self.device.link.exit()
        del self.device.link.clock.sleep  # type: ignore[attr-defined]
        self.device.link = self.device.reopen()

    def _cut_somewhere(self, book: Logbook) -> None:
        """Ctrl-C, or the lid, after some time of this life."""
        clock, whole = self.device.link.clock, self.device.link.clock.sleep
        ends = self.cut and self.person.care < 1 and self.rng.random() < 0.6
        at = clock.now() + (self.rng.expovariate(1 / 60.0) if ends else float("inf"))
        lid = self.rng.random() < 0.5

        def sleep(seconds: float) -> None:
            whole(seconds)
            if clock.now() < at:
                return
            clock.sleep = whole  # type: ignore[method-assign]
            self.killed_in_motion = self.killed_in_motion or lid
            if lid:
                _silence(book)
                raise Lid
            raise KeyboardInterrupt

        clock.sleep = sleep  # type: ignore[method-assign]

    # -- the truth beside the record

    def _judge(self, book: Logbook) -> None:
        verdicts = [verdict.summary() for _, verdict in read_verdicts(book)]
        if self.end not in ("finished", SWAPPED, DROPPED) and book.runs()[-1].outcome is None:
            self.found.append(f"never ended: {self.end}")
        if self.procedure == "pry_to_failure":
            self._judge_pry(book, verdicts)
        if self.procedure == "drop_impact":
            self._judge_drops(book, verdicts)
        if self.procedure == "edge_twist" and self.end == "finished":
            self._judge_twist(verdicts)
        if self.procedure == "cuts_to_dull" and self.end == "finished":
            self._judge_cuts(verdicts)
        self._judge_typed(book)

    def _judge_drops(self, book: Logbook, verdicts: list[dict[str, Any]]) -> None:
        true_j = [truth.impact_energy_j for truth in self.tower.truth if truth.strikes]
        for verdict in verdicts:
            if verdict["valid"]:
                off = min(abs(verdict["energy_j"] - one) for one in true_j)
                if off > 1.5 * verdict["energy_U_j"]:
                    self.found.append(f"wrong value: {verdict['energy_j']} J of {true_j}")
        steps = [row.body for row in book.journal(kind="step")]
        told = [s["outcome"] for s in steps if s["step"]["step"] == "Release"]
        on_record = sum(outcome["released"] is not False for outcome in told)
        if self.end == "finished" and len(true_j) > on_record:
            self.found.append(f"a site wasted: {len(true_j)} falls, {on_record} on record")

    def _judge_pry(self, book: Logbook, verdicts: list[dict[str, Any]]) -> None:
        truths = [t for t in self.hands.jig.truth if t.kind is not Failure.SURVIVE]
        if not truths or self.end != "finished":
            return
        valid = [v for v in verdicts if v["valid"]]
        first = truths[0]
        for verdict in valid:
            off = abs(verdict["peak_torque_nm"] - first.peak_nm)
            if off > 1.5 * verdict["peak_torque_U_nm"]:
                self.found.append(f"wrong value: {verdict['peak_torque_nm']}, true {first.peak_nm}")
        if not valid and not self.killed_in_motion and not self._recorded(book, first.peak_nm):
            self.found.append(f"a tip wasted: {[v['reasons'] for v in verdicts]}")

    def _recorded(self, book: Logbook, peak_nm: float) -> bool:
        """Whether some stored frames hold the pull, from before it began."""
        for row in book.journal(kind="step"):
            step = row.body["step"]
            if step["step"] != "Record" or not step["guarded"]:
                continue
            scale = Scale.from_dict(step["torque"])
            for raw_id in book.raw_ids(row.run_id, step["trial"]):
                codes = capture(book.raw(raw_id)[0])[Kind.LOAD].values
                torque = abs(scale.value(codes - step["zero_code"]))
                if len(codes) and torque[0] < peak_nm / 5 and max(torque) > peak_nm / 2:
                    return True
        return False

    def _judge_twist(self, verdicts: list[dict[str, Any]]) -> None:
        (verdict,) = verdicts
        truth = self.hands.jig.twists
        if verdict["valid"] and truth:
            off = abs(
                verdict["peak_torque_nm"] - max(map(abs, truth[0].right_nm + truth[0].left_nm))
            )
            if off > 1.5 * verdict["peak_torque_U_nm"]:
                self.found.append(f"wrong twist: {verdict['peak_torque_nm']}")
        if not verdict["valid"] and not self.killed_in_motion and self.lives == 1:
            self.found.append(f"an edge wasted: {verdict['reasons']}")

    def _judge_cuts(self, verdicts: list[dict[str, Any]]) -> None:
        (verdict,) = verdicts
        counts = verdict["counts"]
        made = self.person.strokes() - 2  # the two without a blade
        if abs(counts["cuts"] - made) > sum(counts["rejected"].values()) + 2 * self.lives:
            self.found.append(f"{counts['cuts']} cuts counted, {made} made")

    def _judge_typed(self, book: Logbook) -> None:
        """What stands on record is what was meant."""
        bodies = [row.body for kind in ("section", "damage") for row in book.journal(kind=kind)]
        for body in bodies[-1:]:
            for name, text in self.person.intended.items():
                if name in body and abs(body[name] * 1e3 - float(text.split()[0])) > 1e-6:
                    self.found.append(f"{name}: {body[name] * 1e3:g} on record, meant {text}")
        for _, verdict in read_verdicts(book):
            value = verdict.details.get("hardness_hrc")
            if verdict.valid and value is not None and not 60 < value < 62.5:
                self.found.append(f"hardness {value}")


def _silence(book: Logbook) -> None:
    """A computer that is off writes nothing."""

    def gone(*_: Any, **__: Any) -> Any:
        raise Lid

    for name in ("append", "store_raw", "store_result", "end_run", "transaction"):
        setattr(book, name, gone)
