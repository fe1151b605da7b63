"""The bench file itself: a template to fill in, and reading it with every fault at once."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rig import tables
from rig.bench.design import FIXTURES, fixture, over
from rig.bench.whole import Bench, with_carriage
from rig.tables import FileFaults

TEMPLATE = """\
# The rig as bolted together. Change what differs on yours; take out what does not.
# Design values of the fixture are in {fixture}.

name = "my bench"

[site]                     # for local gravity; leave both out if you do not know them
# latitude_deg = 47.0
# elevation_m = 400

[tower]
fixture = "drop_tower"

[tower.carriage]           # until both stand here (take the # away) every drop is an indication
# mass_kg = 2.000          # weigh yours with striker, rod and flag: energy goes straight with it
# u_mass_kg = 0.003        # how sure: the scale, and the catch cable that half hangs on it

[cell]                     # the load cell: its own number goes on every certificate
serial = "cell 1"
mounted = "arm"            # "arm" (pry and twist jigs) or "carriage" (cutting frame)
capacity_n = 200.0
sensitivity_mv_v = 2.0     # at capacity; a value far from it points to a wrong unit

[pry]
fixture = "pry_jig"

[twist]
fixture = "twist_jig"

[frame]
fixture = "cutting_frame"

[frame.drive]
fitted = false             # true with a motor: the program then permits, your hand starts it
"""


def load(path: Path | None) -> Bench:
    """Read bench.toml; None gives the fixture's design values under the name "design bench".

    Raises:
        FileFaults: every fault at once, each with its line and key.
    """
    if path is None:
        return _checked({"name": "design bench", "tower": {}}, "", "built-in")
    told, text = tables.read(path, f"make one with 'bladerig bench init {path}'")
    return _checked(told, text, str(path))


def own_parts(path: Path) -> tuple[dict[str, dict[str, Any]], str]:
    """What the bench file changes of the fixtures' parts, by fixture, and the file's text.

    Raises:
        FileFaults: not there, not readable, not TOML.
    """
    told, text = tables.read(path, f"make one with 'bladerig bench init {path}'")
    return {part: _parts(told, part) for part in FIXTURES}, text


def _parts(told: dict[str, Any], part: str) -> dict[str, Any]:
    table = told.get(part)
    found = table.get("parts") if isinstance(table, dict) else None
    return found if isinstance(found, dict) else {}


def _without_parts(told: dict[str, Any]) -> dict[str, Any]:
    """The measurements do not read what the fixtures are made of; `rig.geometry` does."""
    return {
        key: {k: v for k, v in table.items() if k != "parts" or not isinstance(v, dict)}
        if key in FIXTURES and isinstance(table, dict)
        else table
        for key, table in told.items()
    }


def _checked(told: dict[str, Any], text: str, name: str) -> Bench:
    told = _without_parts(told)
    faults = [*_unstatable(told, text, name)]
    carriage = _of_tower(told, "carriage")
    for part, usual in FIXTURES.items():
        own = told.get(part, {} if part != "tower" else None)
        if isinstance(own, dict):
            design, wrong = fixture(part, usual, own, name, text)
            faults += wrong
            told = told | {part: over(design, own)}
    try:
        bench = tables.validate(Bench, told, text, name)
    except FileFaults as error:
        faults += error.faults
    if faults:
        raise FileFaults(sorted(faults, key=tables.line))
    own = carriage.keys() >= {"mass_kg", "u_mass_kg"}
    return with_carriage(bench, weighed=True) if own else bench


def _of_tower(told: dict[str, Any], part: str) -> dict[str, Any]:
    """What the file itself says of a part of the tower."""
    tower = told.get("tower")
    found = tower.get(part) if isinstance(tower, dict) else None
    return found if isinstance(found, dict) else {}


def _unstatable(told: dict[str, Any], text: str, name: str) -> Iterator[str]:
    """Takes out what only the program may put in, with a fault for each."""
    if told.pop("certificates", None) is not None:
        place = tables.place(("certificates",), text, name)
        yield f"{place}: cannot be stated; run bladerig calibrate"
    for part, key, remedy in (
        ("carriage", "weighed", "write mass_kg and u_mass_kg"),
        ("carriage", "practice", "practise with --virtual"),
        ("wire", "source", "run bladerig calibrate height"),
    ):
        if _of_tower(told, part).pop(key, None) is not None:
            place = tables.place(("tower", part, key), text, name)
            yield f"{place}: cannot be stated; {remedy}"
