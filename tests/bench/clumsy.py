"""A thousand sessions of a clumsy person who reads the screen, over all procedures."""

import os
import tempfile
from pathlib import Path
from typing import Any

from tests.bench.figure import exactly, figure
from tests.guide.clumsy import Session

SESSIONS = int(os.environ.get("CLUMSY_SESSIONS", "1000"))
FIRST = 1000
WRONG = ("wrong", "on record", "counted", "hardness")
ENDLESS = ("no end", "never", "alone")


def figures() -> list[dict[str, Any]]:
    """Sessions, and what was found: blades wasted, values wrong, sessions that never end."""
    found: list[str] = []
    begun = broken = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(FIRST, FIRST + SESSIONS):
            session = Session(seed, Path(folder)).run()
            begun += 1
            broken += session.lives > 1
            found += [f"{seed} {session.procedure}: {one}" for one in session.found]
    for one in found:
        print(one)

    def of(*words: str) -> int:
        return sum(any(word in one for word in words) for one in found)

    return [
        figure("sessions of a clumsy person", begun, "sessions", ">= 1000", begun >= 1000),
        figure("sessions broken off and gone on with", broken, "sessions", "> 0", broken > 0),
        exactly("blades wasted by the words on the screen", of("wasted"), "blades", 0),
        exactly("wrong values counted", of(*WRONG), "values", 0),
        exactly("sessions that could not be brought to an end", of(*ENDLESS), "sessions", 0),
        exactly("other findings", len(found) - of("wasted", *WRONG, *ENDLESS), "findings", 0),
    ]
