"""The cutting frame's passages: switches tried out, media, control blade, strokes of a stretch."""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from procedures.lib import checks, questions
from rig.bench import Bench
from rig.calibration.nominal import CODES_PER_RATIO
from rig.errors import RigError
from rig.guide.hazards import OUT
from rig.guide.steps import Ask, Do, Note, Passage, Read, Strokes, Tell
from rig.guide.tally import told

HAND, RIG, MOTOR = "hand", "rig", "motor"
PIECE = 100  # cuts of one step at most: so much raw data is at stake when a program is killed
TRIED = 2
DIGITS = 9  # of a count; longer is a slip of the hand
STILL = "Carriage home, pin in, motor unplugged"
"""How the frame stands before a hand goes in."""
DRAW = "DRAW NOW"
NOW = {False: DRAW, True: "PRESS NOW"}
"""What the person waits for, by hand and by motor."""
SETTLE_S, READ_S = 1.0, 2.0
ENDS = {
    "SAID": "paused",
    "STOPPED": "stopped by the button",
    "STALL": "the carriage reached no switch in time",
    "SWITCH_FAULT": "the switches made no sense",
}


@dataclass(frozen=True)
class How:
    """How strokes are made and counted: `count` by rig or hand, `driven`, `load` recorded."""

    count: str
    driven: bool
    load: bool


def how(params: Mapping[str, Any], bench: Bench) -> How:
    """As asked for, and as the bench can.

    Raises:
        RigError: the bench cannot.
    """
    motor = params["drive"] == MOTOR or (not params["drive"] and bench.frame.drive.fitted)
    if params["drive"] not in ("", HAND, MOTOR) or params["count"] not in (RIG, HAND):
        raise RigError(
            f"drive={params['drive']}, count={params['count']}",
            where="drive",
            remedy="write drive=hand or motor, count=rig or hand",
        )
    if motor and not bench.frame.drive.fitted:
        raise RigError(
            "this frame has no motor",
            where="drive",
            remedy="leave it out, or write [frame.drive] fitted = true in bench.toml",
        )
    if params["force"] and bench.cell.mounted != "carriage":
        raise RigError(
            f"{bench.cell.serial} is mounted on the {bench.cell.mounted}, not on the carriage",
            where="cell.mounted",
            remedy='mount it there and write mounted = "carriage" in bench.toml, or leave '
            "force= out",
        )
    if params["count"] == HAND and (motor or params["force"]):
        raise RigError(
            "cuts counted by hand have neither motor nor force",
            where="count",
            remedy="leave count= out",
        )
    if params["control"] and not params["force"]:
        raise RigError(
            "a control blade shows nothing without the cutting force",
            where="control",
            remedy="add force=yes, or leave control= out",
        )
    return How(params["count"], motor, params["force"])


def newton_per_code(bench: Bench) -> float:
    """By the cell's own figures: good to compare cuts with, no certificate."""
    return bench.cell.capacity_n / (bench.cell.sensitivity_mv_v * 1e-3 * CODES_PER_RATIO)


def moving(used: How, bench: Bench) -> tuple[str, ...]:
    """Hazards of the edge's motion: a motor that is fitted can start, used or not."""
    if used.driven:
        return ("driven_blade",)
    return ("driven_blade", "drawn_blade") if bench.frame.drive.fitted else ("drawn_blade",)


def pin_out(used: How, bench: Bench) -> tuple[str, ...]:
    """The same while the edge is drawn, its pin out."""
    return tuple(key + OUT for key in moving(used, bench))


def by_hand(text: str, bench: Bench) -> str:
    """What to read before strokes by hand: no motor may turn the rod then."""
    return f"Motor unplugged, crank off. {text}" if bench.frame.drive.fitted else text


def closed(used: How) -> str:
    """How the frame stands before the next stroke; the plug comes last."""
    return "Guard closed, pin out" + (", crank on, motor plugged in last" if used.driven else "")


def strokes(
    trial: str, text: str, count: int, used: How, bench: Bench, mounted: bool = False
) -> Strokes:
    """The step that counts them; when the blade was mounted just now, that prompt told all."""
    stroke = bench.frame.stroke
    told = text if used.driven or mounted else by_hand(text, bench)
    return Strokes(
        told, trial=trial, count=count, driven=used.driven, min_ms=round(1e3 * stroke.min_s),
        max_ms=round(1e3 * stroke.max_s), load=used.load, hand="strokes",
        hazards=pin_out(used, bench), by_itself=mounted, now=DRAW,
    )  # fmt: skip


def try_switches(specimen: str, bench: Bench) -> Passage[None]:
    """Two strokes without a blade must be counted as two: bad switches show before a cut is lost.

    Raises:
        RigError: the person stopped because they were not.
    """
    used = How(RIG, False, False)
    while True:
        tried = yield strokes(
            f"{specimen} switches",
            f"Switches: no blade in the clamp, carriage home. At {DRAW} draw {TRIED} full strokes "
            "by hand.",
            TRIED, used, bench,
        )  # fmt: skip
        if tried["ended"] == "RESTARTED":
            yield Tell("The board was restarted meanwhile; the switches are tried once more.")
            continue
        if tried["counted"] == TRIED and not tried["rejected"]:
            return
        if (yield from checks.stopped(_amiss(tried))):
            raise RigError(
                "the switches were not in order",
                where="switches",
                remedy="put them right, then give the command again with --abandon 'switches'",
            )


def _amiss(tried: Mapping[str, Any]) -> str:
    """What went wrong in the try, and what to do before the next."""
    if tried["rejected"]:
        return (
            f"Not counted: {told(tried['rejected'])}. Draw slower, to the very end; if you did, "
            "look at both switches and their wires. Then try"
        )
    return (
        f"{tried['counted']} strokes were counted where {TRIED} were to be drawn. Nothing is wrong "
        "with the switches if you drew so many. Try"
    )


def _lot(kind: str) -> Passage[str]:
    said = yield Ask(f"Lot of the {kind} (maker's number, delivery, date)", key="lot")
    return str(said["value"])


def media(params: Mapping[str, Any], bench: Bench) -> Passage[dict[str, Any]]:
    """What is cut, put down before the first cut."""
    fresh_m = bench.frame.media.fresh_length_m
    kind = params["media"]
    lot = params["lot"] or (yield from _lot(kind))
    thick_m = yield from questions.length(
        f"Thickness of the {kind}, like 4 mm",
        "media_thickness",
        questions.MEDIA_THICKNESS,
        usual=questions.MEDIA_THICK,
    )
    if thick_m > bench.frame.media.thickest_m:
        yield Tell(
            f"Thicker than {1e3 * bench.frame.media.thickest_m:g} mm: the slope may not cut "
            "through it within the stroke. Look at the first cuts."
        )
    moisture = None
    if "wood" in kind.lower():
        said = yield Ask("Moisture of the wood, like 8 %", key="moisture")
        moisture = said["value"]
    told = {
        "kind": kind, "lot": lot, "thickness_m": thick_m, "moisture": moisture,
        "fresh_length_m": fresh_m, "cuts_per_sheet": params["cuts_per_sheet"],
        "block": params["block"],
    }  # fmt: skip
    yield Note("The medium", kind="media", body=told)
    yield Tell(
        f"Feed {1e3 * fresh_m:g} mm of fresh {kind} for every cut: nothing is cut twice. Another "
        f"sheet after {params['cuts_per_sheet']} cuts."
    )
    return told


def mount(name: str, used: How, bench: Bench) -> Do:
    """Blade into the clamp; what comes at once after it is said here."""
    then = "then read on" if used.count == HAND else f"then wait for {NOW[used.driven]}"
    plug = "" if used.driven or not bench.frame.drive.fitted else ", crank off"
    return Do(
        f"{STILL}. Gloves on: clamp blade {name} by its spine, edge down. Gloves off, hands out. "
        f"{closed(used)}{plug}; {then}.",
        hand="mount", detail={"specimen": name}, hazards=("edge", "pinch", *moving(used, bench)),
    )  # fmt: skip


def sheet(number: int, specimen: str, used: How, bench: Bench) -> Passage[str]:
    """A fresh sheet, roll or rope; its label."""
    label = yield Ask(f"Label of sheet {number}", key="sheet", default=f"sheet {number}")
    yield Do(
        f"{STILL}, then guard open: take the rest out, put {label['value']} in. Hands out. "
        f"{closed(used)}.",
        hand="feed",
        detail={"sheet": label["value"]},
        hazards=("edge", "pinch", *moving(used, bench)),
    )
    yield Note(f"Sheet of {specimen}", kind="sheet",
               body={"specimen": specimen, "number": number, "sheet": label["value"]})  # fmt: skip
    return str(label["value"])


def zero(trial: str) -> Passage[float]:
    """The load cell with nothing cut.

    Raises:
        RigError: the person stopped.
    """
    reading = yield from checks.good_reading(
        Read("Carriage home, nobody touches it. Hands off.", channel="load", trial=trial,
             settle_s=SETTLE_S, read_s=READ_S, hand="home")
    )  # fmt: skip
    if reading is None:
        raise RigError(
            "no good zero reading of the load cell",
            where="load cell",
            remedy="put it right, then give the command again with --abandon 'no zero'",
        )
    return float(reading["mean"])


def stretch(
    trial: str, text: str, count: int, used: How, bench: Bench, mounted: bool = False
) -> Passage[dict[str, Any]]:
    """Some cuts, of a blade that stands there or was `mounted` just now.

    Gives `counted`, `typed`, `rejected`, `mean_codes`, `paused` (why; "" if not).
    """
    if used.count == HAND:
        return (yield from _typed(text, count, used, bench))
    made = yield strokes(trial, text, count, used, bench, mounted)
    typed = 0
    if made["ended"] == "RESTARTED":
        # In the question itself: who goes on with it tomorrow sees no line before it.
        typed = yield from whole_number(
            f"The board was restarted. It saw {made['counted']} of the {count} cuts of this "
            "stretch. How many more full strokes were made that it did not see? They are marked "
            "as counted by hand", "unseen", "0",
        )  # fmt: skip
    return {
        "counted": made["counted"] + typed,
        "typed": typed,
        "rejected": made["rejected"],
        "mean_codes": made["mean_codes"],
        "paused": ENDS.get(made["ended"], ""),
    }


def _typed(text: str, count: int, used: How, bench: Bench) -> Passage[dict[str, Any]]:
    """Cuts counted by hand, and marked as such."""
    yield Do(by_hand(f"{text} Count them yourself.", bench), hand="strokes",
             detail={"count": count}, hazards=pin_out(used, bench))  # fmt: skip
    typed = yield from whole_number("How many full cuts did you make?", "hand_count", str(count))
    why = "" if typed else "nothing was cut"
    return {"counted": typed, "typed": typed, "rejected": {}, "mean_codes": [], "paused": why}


def whole_number(text: str, key: str, default: str) -> Passage[int]:
    """A count, asked for until it is one."""
    while True:
        answer = yield Ask(text, key=key, kind="number", default=default)
        said = str(answer["value"]).strip()
        if said.isdecimal() and len(said) <= DIGITS:
            return int(said)
        yield Tell(f"'{said}' is no count of cuts; write it like 25.")


def control(
    name: str, label: str, count: int, zero_code: float, used: How, bench: Bench
) -> Passage[dict[str, Any]]:
    """The control blade on this sheet: what the sheet does to a blade that is known."""
    yield mount(name, used, bench)
    made = yield from stretch(
        f"{name} on {label}", f"Control blade {name}: {count} cuts.", count, used, bench, True
    )
    force = None
    if made["mean_codes"]:
        force = newton_per_code(bench) * (fmean(made["mean_codes"]) - zero_code)
    body = {"control": name, "sheet": label, "cuts": made["counted"], "force_n": force}
    yield Note(f"Control blade on {label}", kind="control", body=body)
    return body
