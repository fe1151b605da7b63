"""Blind codes and the order of all trials, dealt once."""

import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict

from rig.commands import typed
from rig.errors import RigError
from rig.logbook.store import Logbook
from rig.study.register import calendar, conditions
from rig.study.register.kept import ORDER, Order, Planned, procedures, require
from rig.study.register.order import (
    GENERATOR,
    Seal,
    blind_codes,
    new_secret,
    random_order,
    seal,
)
from rig.study.register.record import StudyRecord


def deal(
    book: Logbook,
    seed: int,
    label: Callable[[Mapping[str, str]], object] | None = None,
    secret: str | None = None,
    keep: Callable[[Seal], Seal] | None = None,
    labels_by: str = "",
) -> Order:
    """Blind codes, the order of all trials, and the sealed key.

    Args:
        book: whose study.
        seed: of the order within blocks, shown to everybody.
        label: makes the labels of code -> blade; what it raises leaves the study as it was.
        secret: what codes and blocks are drawn by; left out, as for every true study, a new one
            that only the seal knows.
        keep: puts the key elsewhere, or locks it (`rig.study.register.sealing`); left out, it lies
            in the logbook. What it raises leaves the study as it was.
        labels_by: who sticks the labels on: `OTHER` or `ALONE`.

    Raises:
        RigError: no study, no blades, or dealt already.
    """
    kept = require(book)
    if kept.order is not None:
        raise RigError(
            "the codes are dealt already",
            where=str(book.path),
            remedy=f"see: {typed('bladerig', 'study', 'next', book.path.name)}",
        )
    record = kept.record
    if not record.blade:
        raise RigError(
            "the study has no blades yet", where=str(book.path), remedy="bladerig study add"
        )
    secret = secret or new_secret()
    codes = blind_codes([blade.name for blade in record.blade], secret)
    key = {code: blade for blade, code in codes.items()}
    if label is not None:
        label(key)
    fixed = {procedure: conditions.fixed(record, procedure) for procedure in procedures(record)}
    sealed = seal(key, secret)
    trials = tuple(_planned(record, codes, seed, secret))
    order = Order(seed, keep(sealed) if keep else sealed, trials, fixed, labels_by)
    body = {**asdict(order), "generator": GENERATOR}
    book.append(ORDER, json.loads(json.dumps(body)))
    return order


def _planned(
    record: StudyRecord, codes: dict[str, str], seed: int, secret: str
) -> Iterator[Planned]:
    """Every trial in its place: blocks one after the other, each once; blades at random within."""
    groups = {
        group.name: [codes[b.name] for b in record.blade if b.group == group.name]
        for group in record.group
    }
    wanted = procedures(record)
    stints = calendar.schedule(record, groups, wanted, secret)
    drawn = {}
    for number, (procedure, repeats) in enumerate(wanted.items()):
        blocks = {one.block: one.blades for one in stints if one.procedure == procedure}
        drawn[procedure] = _drawn(blocks, repeats, seed + 1 + number)
    place = 0
    for stint in stints:
        for code, repeat in drawn[stint.procedure].get(stint.block, ()):
            place += 1
            yield Planned(place, stint.block, code, stint.procedure, repeat)


def _drawn(
    blocks: Mapping[str, Sequence[str]], repeats: int, seed: int
) -> dict[str, list[tuple[str, int]]]:
    """Block -> (code, number of its repeat), at random within the block."""
    every = {block: list(names) * repeats for block, names in blocks.items()}
    met: Counter[str] = Counter()
    told: dict[str, list[tuple[str, int]]] = {}
    for slot in random_order(every, seed):
        met[slot.blade] += 1
        told.setdefault(slot.block, []).append((slot.blade, met[slot.blade]))
    return told
