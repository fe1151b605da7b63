"""A reader who takes every sentence of an answer at its word and holds it against the figures.

It knows the words, the figures as programs get them (`Answer.to_dict`), and which way each
response is better; it knows nothing of the rules by which they came about. `contradictions` gives
what does not agree.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

LEVEL = 0.05
SHOWN, RULED_OUT, CANNOT_TELL = (
    "difference shown",
    "difference above the margin ruled out",
    "cannot tell",
)
RATIOS = {"pry_torque": True, "twist_torque": True, "hardness": False, "impact_damage": False,
          "edge_life": True}  # fmt: skip
BETTER = {"pry_torque": "more", "twist_torque": "more", "impact_damage": "less",
          "edge_life": "more"}  # fmt: skip
"""In hardness neither way is better."""

AMOUNT = re.compile(
    r"(?P<least>less than )?(?P<figure>\d+(?:\.\d+)?) "
    r"(?:(?P<times>times as much)|(?P<unit>%|HRC|mm) (?P<way>more|less))"
)
FAILED = re.compile(r"(\w+): (\d+) of (\d+) failed\.")
FOUND = re.compile(
    r"a true difference of (?:(?P<more>[\d.]+) % more or (?P<less>[\d.]+) % less|"
    r"(?P<plain>[\d.]+) (?:HRC|mm)) would be found|"
    r"one group must reach (?:about (?P<times>[\d.]+)|more than (?P<over>20)) times the other"
)


def contradictions(answer: Mapping[str, Any], lines: list[Mapping[str, Any]]) -> list[str]:
    """What an answer says in words that its figures do not bear out.

    Args:
        answer: as `Answer.to_dict` gives it.
        lines: its comparisons, each with its `sentence`.
    """
    told = list(_headline(answer, lines))
    for line in lines:
        told += [f"{line['group']} against {line['against']}: {fault}: {line['sentence']}"
                 for fault in _line(line, answer)]  # fmt: skip
    return told


def finer_than_u(values: Iterable[str]) -> list[str]:
    """Printed values of blades whose last digit is not that of their ±, or whose ± has more than
    two figures."""
    faults = []
    for text in values:
        for value, u in re.findall(r"(\d+(?:\.\d+)?) ± (\d+(?:\.\d+)?)", text):
            figures = len(u.replace(".", "").strip("0") or "0")
            if len(value.partition(".")[2]) != len(u.partition(".")[2]) or figures > 2:
                faults.append(f"digits against U: {text}")
    return faults


def _headline(answer: Mapping[str, Any], lines: list[Mapping[str, Any]]) -> Iterator[str]:
    text, first = answer["headline"], answer["headline"].partition(". ")[0]
    kinds = [line["verdict"] for line in lines]
    wanted = (
        SHOWN if SHOWN in kinds
        else RULED_OUT if kinds and set(kinds) == {RULED_OUT} else CANNOT_TELL
    )  # fmt: skip
    if answer["verdict"] != wanted:
        yield f"the verdict is {answer['verdict']}, its comparisons say {kinds}"
    said = {SHOWN: "difference shown", RULED_OUT: "ruled out", CANNOT_TELL: "cannot tell"}
    for kind, words in said.items():
        if (words in first) != (kind == answer["verdict"]):
            yield f"first sentence against {answer['verdict']}: {first}"
    if answer["verdict"] == CANNOT_TELL and "not the same as no difference" not in text:
        yield "cannot tell is not told from no difference"
    if "recipes from furnace loads" in text and any(line["p"] is not None for line in lines):
        yield "loads are said to hide recipes, yet there is a p"
    if "Taken for granted" in text:
        yield "what is taken for granted is said with each answer"
    said_first = set(re.findall(r"(\w+) (better|worse|higher|lower) than (\w+)", first))
    wanted_first = {(line["group"], _way(line, answer), line["against"])
                    for line in lines if line["verdict"] == SHOWN}  # fmt: skip
    if said_first != wanted_first:
        yield f"the first sentence says {said_first}, the figures {wanted_first}"
    for line in lines:
        yield from _matters(line, answer)


def _way(line: Mapping[str, Any], answer: Mapping[str, Any]) -> str:
    """The word for the direction of a difference that is shown."""
    above, better = _above(line, answer), BETTER.get(answer["response"])
    if better is None:
        return "higher" if above else "lower"
    return "better" if above == (better == "more") else "worse"


def _above(line: Mapping[str, Any], answer: Mapping[str, Any]) -> bool:
    """Whether a difference that is shown is one upwards: by the interval where it stands open."""
    nothing = 1 if RATIOS[answer["response"]] else 0
    return bool((line["low"] if line["estimate"] is None else line["estimate"]) > nothing)


def _matters(line: Mapping[str, Any], answer: Mapping[str, Any]) -> Iterator[str]:
    """ "which is at least the 25 % more that matters", of a difference shown."""
    if line["verdict"] != SHOWN:
        return
    pair = re.escape(f"{line['group']} against {line['against']} ")
    found = re.search(
        pair + r"(?P<effect>[^(]*)\(.*?confidence\), which (?P<how>is at least|is not as far as|"
        r"may or may not reach) the (?P<much>.*?) that matters", answer["headline"], re.IGNORECASE,
    )  # fmt: skip
    if found is None:
        yield f"no size beside what is shown: {answer['headline']}"
        return
    away = math.log if RATIOS[answer["response"]] else float
    matters = away(answer["smallest"])
    ends = (line["low"], line["high"])
    near, far = sorted(abs(away(end)) if end else math.inf for end in ends)
    how = "is at least" if near >= matters else "is not as far as" if far < matters else "may"
    if not found["how"].startswith(how):
        yield f"'{found['how']}' where the interval is {line['low']} to {line['high']}"
    if ("more" in found["much"]) != _above(line, answer):
        yield f"what matters is said on the wrong side: {found['much']}"


def _line(line: Mapping[str, Any], answer: Mapping[str, Any]) -> Iterator[str]:
    ratio = RATIOS[answer["response"]]
    nothing, away = (1.0, math.log) if ratio else (0.0, float)
    low, high, p, text = line["low"], line["high"], line["p"], line["sentence"]
    if low is not None and high is None:
        high = math.inf
    way = f", {line['group']} {_way(line, answer)}" if line["verdict"] == SHOWN else ""
    if f": {line['verdict']}{way}." not in text:
        yield "its sentence says another verdict"
    if low is None or p is None:
        open_ = low is None or (low == 0 and high == math.inf) or "same two probes" in text
        if line["verdict"] != CANNOT_TELL or p is not None or not open_:
            yield "a verdict without an interval or a p"
        return
    leaves_out = not low <= nothing <= high
    margin = away(answer["margin"])
    inside = -margin <= away(low) and away(high) <= margin if low > 0 or not ratio else False
    if line["verdict"] == SHOWN and not leaves_out:
        yield "shown beside an interval that includes none"
    if (line["verdict"] == SHOWN) != (p <= LEVEL):
        yield f"p is {p}"
    if line["verdict"] == RULED_OUT and not inside:
        yield "ruled out beside an interval past the margin"
    bounded = bool(re.search("bounds only|survived|the other \\(95|in these blades", text))
    if line["verdict"] == CANNOT_TELL and (leaves_out or (inside and not bounded)):
        yield "cannot tell, yet the interval tells"
    if line["verdict"] == CANNOT_TELL and re.search("same as|about the same|equal to", text):
        yield "likeness is said beside cannot tell"
    survived = {
        group for group, failed, of in FAILED.findall(" ".join(answer["notes"])) if failed != of
    }
    one_sided = len(survived & {line["group"], line["against"]}) == 1
    if one_sided and ("in these blades" not in text) and line["estimate"] is not None:
        yield "an estimate with survivors without what is seen of them"
    if "smaller than the stated margin" in text and not inside:
        yield "smaller than the margin beside an interval past it"
    yield from _direction(line, answer)
    yield from _figures(line, ratio)
    yield from _could_find(line, ratio)


def _direction(line: Mapping[str, Any], answer: Mapping[str, Any]) -> Iterator[str]:
    said = re.search(r"shown, \w+ (better|worse|higher|lower)\.", line["sentence"])
    wanted = _way(line, answer) if line["verdict"] == SHOWN else None
    if (said[1] if said else None) != wanted:
        yield f"said {said and said[1]}, is {wanted}"


def _figures(line: Mapping[str, Any], ratio: bool) -> Iterator[str]:
    """Estimate and ends as printed: right to their last digit, and none finer than they are."""
    sure = r"with 95 % confidence(?:, for this comparison alone,)?"
    ends = r"between (.*?) and (.*?)\.(?: |$)"
    seen = "(?: in these blades [^;]*;)?"
    found = re.search(rf":{seen} estimate ([^;]*?); {sure} {ends}", line["sentence"])
    if found is None:
        open_ended = ratio and (line["low"] < 1e-3 or (line["high"] or math.inf) > 1e3)
        open_ended = open_ended or line["estimate"] is None
        if not open_ended:
            yield "no estimate with its interval"
        return
    half = (line["high"] - line["low"]) / 2
    for words, value in zip(
        found.groups(), (line["estimate"], line["low"], line["high"]), strict=True
    ):
        if words.startswith("more than "):
            if not (value > 1000 if "times" in words else value < 0.01):
                yield f"'{words}' is {value}"
            continue
        if words in ("0 %", "0 HRC", "0 mm"):
            if value != (1 if ratio else 0):
                yield f"'{words}' is {value}"
            continue
        read, step = _read(words, ratio)
        if words.startswith("less than "):
            nothing = 1 if ratio else 0
            if abs(value - nothing) > 0.51 * abs(read - nothing) or (value > nothing) != (
                read > nothing
            ):
                yield f"'{words}' is {value}"
            continue
        # Three figures for a number, whole per cents from ten on: whichever is coarser.
        coarse = max(step, 0.011 * abs(value) if ratio and value > 2 else 0.0)
        if abs(read - value) > max(0.51 * coarse, 0.006 * abs(value - (1 if ratio else 0))):
            yield f"'{words}' is {value}"
        if half / step > 101 and "%" not in words and step < 0.0095 * (abs(value) or 1):
            yield f"'{words}' is finer than its interval of +-{half:.3g}"


def _read(words: str, ratio: bool) -> tuple[float, float]:
    """A printed amount as a ratio or a difference, and the step of its last digit."""
    found = AMOUNT.fullmatch(words.strip())
    if found is None:
        raise AssertionError(f"no amount: {words!r}")
    whole, _, decimals = found["figure"].partition(".")
    figure, zeros = float(found["figure"]), len(whole) - len(whole.rstrip("0"))
    step = 10.0 ** (-len(decimals) if decimals else min(zeros, len(whole) - 1))
    if found["times"]:
        return figure, step
    sign = 1 if found["way"] == "more" else -1
    if found["unit"] == "%":
        return 1 + sign * figure / 100, step / 100
    return sign * figure, step


def _could_find(line: Mapping[str, Any], ratio: bool) -> Iterator[str]:
    text, value = line["sentence"], line["detectable"]
    found = FOUND.search(text)
    if line["verdict"] == RULED_OUT:
        if found:
            yield "what would be found is said beside what is ruled out"
        return
    if line["verdict"] == SHOWN and line["estimate"] is not None and value is not None:
        away = math.log if ratio else float
        missed = abs(away(line["estimate"])) < abs(away(value))
        if missed != ("may be luck" in text):
            yield "a difference that most such studies would miss, unsaid (or said of another)"
    if value is None:
        if found or not re.search(
            "cannot be said|may stay hidden|would be found|to say what the study|the other \\(95|"
            "Test to a higher limit|probe sooner",
            text,
        ):
            yield "what would have been found is said without a figure"
        return
    if found is None:
        if not (ratio and value > 1000 and "may stay hidden" in text):
            yield "what would have been found is not said"
        return
    said = {name: float(number) for name, number in found.groupdict().items() if number}
    if "more" in said:
        both = (1 + said["more"] / 100, 1 / (1 - said["less"] / 100))
        if max(abs(math.log(x / value)) for x in both) > 0.011 * max(value, 1):
            yield f"{found[0]} is not {value}"
    elif "over" in said:
        if value <= said["over"]:
            yield f"{found[0]} is not {value}"
    elif abs(said.get("times", said.get("plain", 0.0)) / value - 1) > 0.051:
        yield f"{found[0]} is not {value}"
    if "times" in said and len(found["times"].replace(".", "").strip("0")) > 2:
        yield f"{found[0]} has more digits than few blades tell"
    if "can show no difference" in text and (line["p"] or 1.0) <= LEVEL:
        yield "can show none, yet p is small"
