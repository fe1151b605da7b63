"""What a procedure wants to know before it starts, typed and checked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from rig.errors import RigError
from rig.units import UNITS, parse_quantity

DIGITS = 9  # of a count: more drops, cuts or places than anyone makes
KINDS = ("text", "count", "fraction", "flag", *UNITS)


@dataclass(frozen=True)
class Parameter:
    """One setting of a procedure.

    `kind`: "text", "count", "fraction", "flag" or a dimension of rig.units.
    `default` is written as a person would type it; None means it must be given.
    `measures` says whether it changes what is measured, so that trials with other values of it are
    not alike; not so are which blade, who, and how often.
    """

    name: str
    kind: str
    default: str | None
    help: str
    measures: bool = True

    def read(self, text: str) -> Any:
        """The typed value, in SI.

        Raises:
            RigError: the text does not read as this parameter.
        """
        try:
            return _reader(self.kind)(text)
        except RigError as error:
            raise RigError(error.what, where=self.name, remedy=error.remedy, value=text) from None

    def shown(self, value: Any) -> str:
        """A value as `read` gives it, as a person would type it."""
        if self.kind in UNITS:
            return f"{value:.10g} {next(iter(UNITS[self.kind]))}"
        if self.kind == "fraction":
            return f"{100 * value:.10g}%"
        if self.kind == "flag":
            return "yes" if value else "no"
        return str(value)


def aside(name: str, kind: str, default: str | None, help: str) -> Parameter:
    """A parameter that changes nothing of what is measured: which blade, who, how often."""
    return Parameter(name, kind, default, help, measures=False)


def _reader(kind: str) -> Callable[[str], Any]:
    readers: dict[str, Callable[[str], Any]] = {
        "text": plain_text,
        "count": _count,
        "fraction": _fraction,
        "flag": _flag,
    }
    return readers.get(kind) or (lambda text: parse_quantity(text, kind))


def plain_text(text: str) -> str:
    """Words without what a page or a screen would choke on.

    Raises:
        RigError: line breaks, control characters, or bytes that are no text.
    """
    if not all(sign.isprintable() for sign in text):
        raise RigError(
            f"{text[:40]!r} has characters that cannot be printed",
            remedy="write it with letters, digits and signs, on one line",
            value=text,
        )
    return text


def _count(text: str) -> int:
    if len(text.strip()) > DIGITS:
        raise RigError(
            f"'{text.strip()[:DIGITS]}...' is too large", remedy="write it like 5", value=text
        )
    if text.strip().startswith("-") and text.strip()[1:].isdecimal():
        raise RigError(f"{text.strip()} is too few", remedy="write a count like 5", value=text)
    if not text.strip().isdecimal():
        raise RigError(f"'{text}' is not a whole number", remedy="write it like 5", value=text)
    return int(text)


def _fraction(text: str) -> float:
    stripped = text.strip()
    try:
        value = float(stripped.removesuffix("%")) / (100 if stripped.endswith("%") else 1)
    except ValueError:
        value = float("nan")
    if not 0 < value < 1:
        raise RigError(f"'{text}' is not a share", remedy="write it like 3% or 0.03", value=text)
    return value


def _flag(text: str) -> bool:
    words = {"yes": True, "no": False, "true": True, "false": False}
    if text.strip().lower() not in words:
        raise RigError(f"'{text}' is neither yes nor no", remedy="write yes or no", value=text)
    return words[text.strip().lower()]


def read_given(wanted: Sequence[Parameter], given: Mapping[str, str]) -> dict[str, Any]:
    """The parameters that were given as `name=value` texts, and no others.

    Raises:
        RigError: an unknown name, or a value that does not read.
    """
    known = {parameter.name: parameter for parameter in wanted}
    for name in given:
        if name not in known:
            near = get_close_matches(name, known, 1)
            hint = f"did you mean {near[0]}?" if near else f"it takes {', '.join(sorted(known))}"
            raise RigError(f"no such parameter '{name}'", remedy=hint, value=name)
    return {name: known[name].read(text) for name, text in given.items()}


def read_all(wanted: Sequence[Parameter], given: Mapping[str, str]) -> dict[str, Any]:
    """All parameters of a procedure from `name=value` texts.

    Raises:
        RigError: an unknown name, a missing value, or one that does not read.
    """
    told, values = read_given(wanted, given), {}
    for parameter in wanted:
        if parameter.name in told:
            values[parameter.name] = told[parameter.name]
            continue
        if parameter.default is None:
            raise RigError(
                "is needed",
                where=parameter.name,
                remedy=f"add {parameter.name}=... ({parameter.help})",
            )
        values[parameter.name] = parameter.read(parameter.default)
    return values
