"""`make bench`: one JSON object a line - name, value, unit, bar, holds.

Exit code 1 when one is short."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tests.bench import (
    accuracy,
    agreeing,
    calibration,
    clumsy,
    decoding,
    emulated,
    faults,
    fuzz,
    kills,
    life,
    planned,
    prompts,
    prying,
    reading,
    shop,
    shoparm,
    starting,
    stepping,
    strokes,
    study,
    studying,
    twisting,
    valueworlds,
)

Figure = dict[str, Any]
PARTS: dict[str, Callable[[], Iterable[Figure]]] = {
    "accuracy": accuracy.figures,
    "calibration": calibration.figures,
    "emulated": emulated.figures,
    "decoding": decoding.figures,
    "starting": starting.figures,
    "kills": kills.figures,
    "clumsy": clumsy.figures,
    "faults": faults.figures,
    "fuzz": fuzz.figures,
    "strokes": strokes.figures,
    "life": life.figures,
    "prying": prying.figures,
    "twisting": twisting.figures,
    "shop": shop.figures,
    "shoparm": shoparm.figures,
    "prompts": prompts.figures,
    "study": study.figures,
    "values": valueworlds.figures,
    "stepping": stepping.figures,
    "planned": planned.figures,
    "reading": reading.figures,
    "agreeing": agreeing.figures,
    "studying": studying.figures,
}


def main(names: list[str]) -> int:
    """All parts, or the named ones."""
    short = 0
    for figure in _figures(names or list(PARTS)):
        print(json.dumps(figure), flush=True)
        short += not figure["holds"]
    return 1 if short else 0


def _figures(names: list[str]) -> Iterator[Figure]:
    for name in names:
        print(f"bench: {name} ...", file=sys.stderr, flush=True)
        yield from PARTS[name]()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
