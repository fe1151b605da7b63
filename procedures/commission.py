"""The first time under power: contacts, sensors, refusals, then coils and motor on their own.

Nothing is measured and no blade is used. Whatever is not as it must be is named with what to do;
what safety hangs on ends the run, with the 12 V plug out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from procedures.lib import calibrating
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.parameters import aside
from rig.guide.steps import Ask, Do, Note, Passage, Procedure, Ready, Tell
from rig.guide.tryout import Dry, Notice, Refusal

TITLE = "First power-up of a rig"
TOWER, ARM, FRAME = FIXTURES = ("tower", "arm", "frame")
GUARDS = {TOWER: "the tower's guard", ARM: "the arm's shield", FRAME: "the frame's guard"}
PARAMETERS = (
    aside("fixtures", "text", ", ".join(FIXTURES), "what is plugged into the box"),
    aside("operator", "text", "", "your initials; asked for when left out"),
)
COUNTS = 200  # of height: a hand's breadth or so of any encoder's
CODES = 40_000  # of load: about 2 N of the design's cell, far above its noise
TURNED_RAD = 0.035  # 2 degrees of the arm
TRIES = 5
LEAD_MS = (50.0, 70.0)  # from catch to latch: CATCH_LEAD_MS and a tick to either side
OFF_MS = 5.0  # the board's own time from an open loop to its output off; by test below 1 ms


class _Ended(Exception):
    """What safety hangs on is not in order."""


@dataclass
class _Found:
    """What was tried, in order: "" in order, else what was not."""

    tried: dict[str, str] = field(default_factory=dict)

    @property
    def wrong(self) -> dict[str, str]:
        return {name: what for name, what in self.tried.items() if what}

    def note(self, name: str, trouble: str, vital: bool = False) -> Passage[None]:
        """Keep it, and tell what is not in order.

        Raises:
            _Ended: safety hangs on it.
        """
        self.tried[name] = trouble
        yield Note(name, kind="first_power_up", body={name: trouble or "in order"})
        if trouble:
            yield Tell(f"NOT IN ORDER: {name}: {trouble}")
            if vital:
                raise _Ended


def check(params: Mapping[str, Any], bench: Bench) -> None:
    """Refuse a fixture that there is none of.

    Raises:
        RigError: naming it.
    """
    named = _there(params)
    for name in named:
        if name not in FIXTURES:
            raise RigError(
                f"there is no fixture '{name}'", where="fixtures",
                remedy=f"give some of: {', '.join(FIXTURES)}", value=name,
            )  # fmt: skip
    if not named:
        raise RigError("no fixture is named", where="fixtures", remedy="give one, like tower")


def procedure(params: Mapping[str, Any], bench: Bench) -> Procedure:
    """All of it. Concludes with what was not in order."""
    there, found = _there(params), _Found()
    operator = yield from calibrating.operator(params)
    yield Do(
        "12 V plug OUT, motor's plug out, carriage down on its stops and the tower's pin in, "
        'nothing clamped, seated or hung. The meter checks under "Before the first 12 V" on the '
        "wiring pages are made and in order",
        hand="commission",
        hazards=("falling_mass", "driven_blade"),
    )
    ended = False
    try:
        yield from _contacts(there, found)
        yield from _sensors(there, bench, found)
        yield from _refusals(found)
        if TOWER in there:
            yield from _coils(found)
        if FRAME in there and bench.frame.drive.fitted:
            yield from _motor(found)
    except _Ended:
        ended = True
    yield Do(
        "12 V plug OUT, and leave it out until what is named is mended"
        if ended
        else "12 V plug out. Done with trying"
    )
    wrong = found.wrong
    yield Note(
        "First power-up", kind="commissioned",
        body={"fixtures": ", ".join(there), "operator": operator, "whole": not ended,
              "in_order": not wrong},
    )  # fmt: skip
    if wrong:
        yield Tell(f"NOT commissioned: {len(wrong)} not in order ({', '.join(wrong)}). Mend, then "
                   "run this again.")  # fmt: skip
    else:
        yield Tell("All is in order. Next: bladerig calibrate height, load and angle.")
    return {"commissioned": not wrong, "tried": len(found.tried), "wrong": wrong}


def _there(params: Mapping[str, Any]) -> list[str]:
    words = str(params["fixtures"]).replace(",", " ").lower().split()
    return [name for name in FIXTURES if name in words] + [w for w in words if w not in FIXTURES]


# -- contacts


def _contacts(there: list[str], found: _Found) -> Passage[None]:
    yield Tell("It goes on by itself when the board notices. Type no when it is done and nothing "
               "came.")  # fmt: skip
    guards = [GUARDS[name] for name in there]
    closed = "Close " + " and ".join(guards)
    came = yield Notice(f"{closed}", "GUARD", 1, "guard", {"to": "closed"})
    yield from found.note("guards closed", _unless(came, "the loop stays open: a guard's contact 1 "
                          "or its wire (GUARD, D4)"), vital=True)  # fmt: skip
    for guard in guards:
        came = yield Notice(f"Open {guard}, it alone", "GUARD", 0, "guard", {"to": "open"})
        yield from found.note(
            f"opening {guard}", _unless(came, "the board believes it closed: its contact is stuck "
            "or bridged, or a wire of GUARD (D4) touches 0 V"), vital=True,
        )  # fmt: skip
        yield Notice(f"Close {guard}", "GUARD", 1, "guard", {"to": "closed"})
    came = yield Notice("Turn the e-stop out, so that it is up", "ESTOP", 1, "estop", {"to": "out"})
    yield from found.note("e-stop out", _unless(came, "its loop stays open: contact 1 or its wire "
                          "(ESTOP, D5)"), vital=True)  # fmt: skip
    came = yield Notice("Press the e-stop", "ESTOP", 0, "estop", {"to": "pressed"})
    yield from found.note("e-stop, opening", _unless(came, "the board believes it healthy: contact "
                          "stuck or bridged, or a wire of ESTOP (D5) touches 0 V"),
                          vital=True)  # fmt: skip
    yield Notice("Turn the e-stop out again", "ESTOP", 1, "estop", {"to": "out"})
    came = yield Notice("Press the release button, and keep it down", "BUTTON", 1, "button",
                        {"to": "down"})  # fmt: skip
    yield from found.note("button pressed", _unless(came, "nothing came: its contact or wire "
                          "(BUTTON, D6)"))  # fmt: skip
    came = yield Notice("Let the button go", "BUTTON", 0, "button", {"to": "up"})
    yield from found.note("button up", _unless(came, "the board believes it pressed: stuck, or its "
                          "wire touches 0 V"), vital=True)  # fmt: skip


def _unless(came: Mapping[str, Any], trouble: str) -> str:
    return "" if came["seen"] else trouble


# -- sensors


def _sensors(there: list[str], bench: Bench, found: _Found) -> Passage[None]:
    if TOWER in there:
        yield from _pair("light gate", "GATE",
                         ("Hold a card in the light gate", 1, "card", {"to": "in"}),
                         ("Take the card out", 0, "card", {"to": "out"}),
                         "its supply, its wire (GATE, D8), or a sensor that gives the reverse",
                         found)  # fmt: skip
        yield Do(
            "The tower's pin out; hands and head out of the carriage's path",
            hazards=("falling_mass:out", "pinch"),
        )
        yield from _pair("encoder", "height",
                         ("By the hand lever, raise the carriage a hand's breadth", COUNTS,
                          "up", {}),
                         ("By the hand lever, let it down again", -COUNTS, "down", {}),
                         "no count, or the wrong way: swap encoder A and B (D2, D3); no count: its "
                         "plug", found)  # fmt: skip
        yield Do("The tower's pin in", hazards=("falling_mass",))
    if ARM in there:
        yield from _arm_sensors(bench, found)
    if FRAME in there:
        yield from _pair("far switch", "FAR",
                         ("Push the cutting carriage to its far end", 1, "far", {}),
                         ("Push it home", 0, "home", {}),
                         "switch or wire (FAR, A3)", found)  # fmt: skip
        came = yield Notice("Push the carriage home, if it is not", "NEAR", 1, "home", {})
        yield from found.note("near switch", _unless(came, "switch or wire (NEAR, D7)"))


def _arm_sensors(bench: Bench, found: _Found) -> Passage[None]:
    yield Do("Nothing seated in the arm, the lever and its weights off", hazards=("trap",))
    if bench.cell.mounted != "carriage":
        push = "The arm's pin in at its zero mark: push the grip to the right, and keep pushing"
        yield from _pair("load cell", "load",
                         (push, CODES, "push", {"side": "right"}),
                         ("Let the grip go", -CODES, "let_go", {}),
                         "no change: plug and converter; the wrong way: swap the cell's two signal "
                         "wires (green, white)", found)  # fmt: skip
    turned = TURNED_RAD * bench.pry.angle.per_rad
    turn = "The arm's pin out. Turn the arm a hand's breadth to the right, and keep it there"
    yield from _pair("angle sensor", "angle",
                     (turn, turned, "turn", {}),
                     ("Bring it back to its zero mark", -turned, "let_go", {}),
                     "no change: plug and magnet; the wrong way: swap low_share and high_share "
                     "in bench.toml, NEVER the sensor's supply", found)  # fmt: skip


def _pair(
    name: str, what: str, there: tuple[Any, ...], back: tuple[Any, ...], trouble: str,
    found: _Found,
) -> Passage[None]:  # fmt: skip
    """A motion and the one back."""
    for done, (text, to, hand, detail) in (("there", there), ("back", back)):
        came = yield Notice(text, what, to, hand, detail)
        yield from found.note(f"{name}, {done}", _unless(came, trouble))


# -- refusals


def _refusals(found: _Found) -> Passage[None]:
    """What the board must not do, tried with no 12 V on it."""
    yield Tell("Now the board is asked for what it must refuse; the 12 V plug is still out.")
    yield Ready("All guards closed, e-stop up.")
    yield from _refused("a height where the carriage is not", "OUTSIDE_WINDOW", found, away=True)
    yield Notice("Open a guard", "GUARD", 0, "guard", {"to": "open"})
    yield from _refused("with a guard open", "GUARD_OPEN", found)
    yield Notice("Close it", "GUARD", 1, "guard", {"to": "closed"})
    yield Notice("Press the e-stop", "ESTOP", 0, "estop", {"to": "pressed"})
    yield from _refused("with the e-stop pressed", "TRIPPED", found)
    yield Notice("Turn the e-stop out", "ESTOP", 1, "estop", {"to": "out"})
    yield from _refused("after the e-stop, no guard opened since", "TRIPPED", found)
    yield Ready("Open a guard, look, close it: that clears the trip.")
    yield Notice("Press the release button, and keep it down", "BUTTON", 1, "button",
                 {"to": "down"})  # fmt: skip
    yield from _refused("with the button already pressed", "BUTTON_HELD", found)
    yield Notice("Let the button go", "BUTTON", 0, "button", {"to": "up"})
    yield from _dry(
        Dry("The program falls silent, as if it had died; hands off.", "silence", silent=True),
        "BEAT_LOST", [], "the program silent", found,
    )  # fmt: skip
    yield Ready("Open a guard, look, close it: that clears the trip.")


def _refused(when: str, why: str, found: _Found, away: bool = False) -> Passage[None]:
    told = yield Refusal("", away=away)
    trouble = ""
    if told["armed"]:
        trouble = "the board armed all the same: take another board, flash it, run board check"
    elif why not in told["reasons"]:
        trouble = f"refused, but for {', '.join(told['reasons'])}, not {why}"
    yield from found.note(f"refuses {when}", trouble, vital=True)


# -- coils


def _coils(found: _Found) -> Passage[None]:
    yield Do(
        "Carriage down on its stops, pin in, guards closed. 12 V plug IN. If anything clicks or "
        "moves now: plug out, type stop",
        hazards=("falling_mass", "pinch"),
    )
    yield from _dry(
        Dry("Latch and catch will be let go dry. Watch hook and wedge from outside the guard.",
            "coils", now="PRESS NOW: the release button at the rig. Hands stay out.", hand="press"),
        "NO_RELEASE", ["CATCH", "LATCH"], "catch, then latch, by the button", found,
    )  # fmt: skip
    yield from _saw("Did the wedge lift first, then the hook open, and both fall back?",
                    "hook, wedge and lamp", "wires of LATCH (D9) and CATCH (D10), coils, springs",
                    found)  # fmt: skip
    yield from _saw("Was the lamp lit until you pressed?", "lamp", "LAMP (D11) and its plug", found)
    yield from _dry(
        Dry("Once more, and nobody presses: open the guard instead.", "coils, guard",
            now="OPEN THE GUARD NOW. Do not press.", hand="guard", detail={"to": "open"}),
        "GUARD_OPEN", [], "a guard opened while permitted", found,
    )  # fmt: skip
    yield Ready("Guards closed again, e-stop up.")
    yield from _dry(
        Dry("Once more: press the e-stop instead.", "coils, e-stop",
            now="PRESS THE E-STOP NOW.", hand="estop", detail={"to": "pressed"}),
        "ESTOP_OPEN", [], "the e-stop while permitted", found,
    )  # fmt: skip
    yield Ready("Turn the e-stop out; open a guard, look, close it.")
    yield from _dry(
        Dry("Once more, and nobody does anything for 10 s.", "coils, nobody"),
        "PERMIT_EXPIRED", [], "nobody at the button", found,
    )  # fmt: skip


def _saw(question: str, name: str, look_at: str, found: _Found) -> Passage[None]:
    answer = yield Ask(question, key="saw", kind="choice", choices=("yes", "no"), default="yes")
    yield from found.note(name, "" if answer["value"] == "yes" else f"look at {look_at}")


# -- motor


def _motor(found: _Found) -> Passage[None]:
    yield Do(
        "No blade and no medium in the frame, carriage home, its pin out, hands out, guards "
        "closed. 12 V plug in, then the motor's. If anything turns now: 12 V plug out, type stop",
        hazards=("driven_blade:out",),
    )
    press = "PRESS NOW: the button at the rig starts the motor."
    for then, hand, detail, why, name in (
        ("PRESS AGAIN: it must stop.", "press", {}, "STOPPED", "button"),
        ("OPEN THE FRAME'S GUARD: it must stop.", "guard", {"to": "open"}, "GUARD_OPEN", "guard"),
        ("PRESS THE E-STOP: it must stop.", "estop", {"to": "pressed"}, "ESTOP_OPEN", "e-stop"),
        ("", "", {}, "BEAT_LOST", "a silent program"),
    ):  # fmt: skip
        yield _home()
        yield Ready("Guards closed, e-stop up.")
        text = f"The motor will run; what stops it: {name}."
        yield from _dry(
            Dry(text, f"motor, {name}", drive=True, now=press, hand="press", then=then,
                then_hand=hand, then_detail=detail, silent=not then),
            why, ["DRIVE"], f"motor stopped by {name}", found,
        )  # fmt: skip
        yield from _saw("Did it stand still within a second?", f"motor stands after {name}",
                        "transistor Q3, and whether the motor is wired past it", found)  # fmt: skip
    yield Do("Motor's plug out, the carriage's pin in", hand="home", hazards=("driven_blade",))
    yield Ready("Open a guard, look, close it.")


def _home() -> Do:
    return Do(
        "Motor's plug out. Push the carriage home by its handle; hands out, guards closed. Motor's "
        "plug in",
        hand="home",
        hazards=("driven_blade:out",),
    )


def _dry(step: Dry, why: str, on: list[str], name: str, found: _Found) -> Passage[None]:
    """A dry run must end for that reason, with just those outputs energised."""
    for _ in range(TRIES):
        told = yield step
        if told["refused"]:
            if step.drive:
                yield _home()
            yield Ready("Guards closed, e-stop up, button up, all still.")
        elif told["ended"] == "PERMIT_EXPIRED" != why:
            yield Tell("Nobody did it in 10 s. Once more.")
        else:
            break
    yield from found.note(name, _trouble(told, why, on), vital=True)


def _trouble(told: Mapping[str, Any], why: str, on: list[str]) -> str:
    if told["refused"]:
        return f"not permitted: {', '.join(told['refused'])}"
    if told["on"] != on:
        had = " and ".join(told["on"]) or "nothing"
        return f"{had} was energised where it should be {' and '.join(on) or 'nothing'}"
    if told["ended"] != why:
        return f"it ended by {told['ended'] or 'nothing that the board told'}, not by {why}"
    if len(on) > 1 and not LEAD_MS[0] <= told["lead_ms"] <= LEAD_MS[1]:
        return f"the latch came {told['lead_ms']:g} ms after the catch; 60 ms are meant"
    if told["off_ms"] is not None and told["off_ms"] > OFF_MS:
        return f"off only {told['off_ms']:g} ms after the contact opened"
    return ""
