"""Readings of a capability study: blades x operators x repeats, from a table or a logbook."""

import csv
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.errors import RigError
from rig.guide.verdict import verdicts
from rig.logbook.store import Logbook
from rig.study.register.trials import INDICATION_ONLY, trials

COLUMNS = ("blade", "operator", "value")


@dataclass(frozen=True)
class Reading:
    """One operator's reading of one blade."""

    blade: str
    operator: str
    value: float


@dataclass(frozen=True)
class Readings:
    """All of them, of one measurand; `left_out` names those of a logbook that do not count."""

    readings: tuple[Reading, ...]
    measurand: str
    unit: str
    left_out: tuple[str, ...] = ()

    @property
    def operators(self) -> list[str]:
        """Who read, in the order they were met."""
        return list(dict.fromkeys(r.operator for r in self.readings))

    def cells(self) -> list[list[list[float]]]:
        """Values of shape (operators, blades, repeats), both in the order they were met.

        Raises:
            RigError: someone read a blade more or less often than the others, naming both.
        """
        operators = self.operators
        blades = list(dict.fromkeys(r.blade for r in self.readings))
        counts = Counter((r.operator, r.blade) for r in self.readings)
        usual = Counter(counts[o, b] for o in operators for b in blades).most_common(1)
        for operator in operators:
            for blade in blades:
                if counts[operator, blade] != usual[0][0]:
                    raise RigError(
                        f"{operator} read blade {blade} {counts[operator, blade]} times, others "
                        f"{usual[0][0]} times",
                        where="capability study",
                        remedy="every operator reads every blade equally often: read it again, or "
                        "leave the odd reading out",
                    )
        return [
            [[r.value for r in self.readings if (r.operator, r.blade) == (o, b)] for b in blades]
            for o in operators
        ]


def from_table(path: Path) -> Readings:
    """A CSV table with the columns blade, operator and value (more columns are passed over).

    Raises:
        RigError: it cannot be read, a column is missing, or a value is no number, with its line.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise RigError(f"cannot be read ({why})", where=str(path), remedy="check it") from None
    missing = [name for name in COLUMNS if not rows or name not in rows[0]]
    if missing:
        raise RigError(
            f"has no {'readings' if not rows else 'column ' + ' and '.join(missing)}",
            where=str(path),
            remedy=f"its first line is  {','.join(COLUMNS)}",
        )
    return Readings(tuple(_of_table(rows, path)), "value", "")


def _of_table(rows: Sequence[dict[str, str | None]], path: Path) -> Iterator[Reading]:
    for line, row in enumerate(rows, 2):
        blade, operator, text = ((row[name] or "").strip() for name in COLUMNS)
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not blade or not operator or not abs(value) < float("inf"):
            raise RigError(
                f"'{blade}', '{operator}', '{text}' is no reading",
                where=f"{path}:{line}",
                remedy="write it like  K3,Ada,60.5",
            )
        yield Reading(blade, operator, value)


def from_logbook(path: Path, measurand: str) -> Readings:
    """Every valid trial with this measurand; the operator as given to its run (operator=NAME).

    Raises:
        RigError: there is none, or runs do not name their operators.
    """
    with Logbook.open(path, writable=False) as book:
        codes = {one.specimen.strip().upper() for _, one in verdicts(book) if one.specimen}
        made = [one for one in trials(book, codes, {}) if measurand in one.measurands]
    if not made:
        raise RigError(
            f"holds no '{measurand}' of any trial",
            where=str(path),
            remedy="name what was measured: --measurand hardness",
        )
    against = {id(one): [r.text for r in one.against if r.name != INDICATION_ONLY] for one in made}
    counted = [one for one in made if not against[id(one)]]
    nameless = [one.run.run_id for one in counted if not one.run.params.get("operator")]
    if nameless:
        raise RigError(
            f"run {nameless[0]} does not say who tested",
            where=str(path),
            remedy="give operator=NAME to each run, or a CSV table with blade, operator, value",
        )
    unit = str(made[0].measurands[measurand].get("unit", ""))
    readings = tuple(
        Reading(", ".join(one.codes), str(one.run.params["operator"]),
                float(one.measurands[measurand]["value"]))
        for one in counted
    )  # fmt: skip
    left_out = tuple(
        f"{one.name}: {'; '.join(against[id(one)])}" for one in made if against[id(one)]
    )
    return Readings(readings, measurand, unit, left_out)
