"""Order and blindness: random order within blocks, codes that give nothing away, a commitment.

The order comes from numpy's Generator over PCG64 with a recorded seed: anyone can draw it again.
The key of the codes is sealed by publishing SHA-256 of its canonical JSON with a random salt before
the first trial; afterwards anyone can check that it was not changed.
"""

import hashlib
import hmac
import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rig.errors import RigError
from rig.study.data import repeated

GENERATOR = "numpy PCG64"
# Without 0 O, 1 I L, 2 Z, 5 S, 8 B, U V: signs mistaken for one another in pencil.
LETTERS = "ACDEFGHJKMNPQRTWXY"
DIGITS = "34679"
SALT_BYTES = 16


@dataclass(frozen=True)
class Slot:
    """One place in the order: which blade, in which block (sheet, roll, day, load)."""

    place: int
    block: str
    blade: str


def random_order(blocks: Mapping[str, Sequence[str]], seed: int) -> tuple[Slot, ...]:
    """Blades in random order within each block, blocks in the order given.

    Args:
        blocks: block -> blades tested in it; a blade may stand in several blocks, and several
            times in one (repeats).
        seed: recorded with the study.
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    slots: list[Slot] = []
    for block, blades in blocks.items():
        for i in rng.permutation(len(blades)):
            slots.append(Slot(len(slots) + 1, block, blades[i]))
    return tuple(slots)


def balanced_blocks(
    groups: Mapping[str, Sequence[str]], blocks: Sequence[str], seed: int
) -> dict[str, tuple[str, ...]]:
    """Deal each group's blades to the blocks as evenly as they go, at random.

    Raises:
        RigError: without blocks, or when a blade is in two groups.
    """
    if not blocks:
        raise RigError("no blocks", where="order", remedy="name one block or more")
    twice = repeated(blade for blades in groups.values() for blade in blades)
    if twice:
        raise RigError(f"blade {twice[0]} is there twice", where="order", remedy="rename one")
    rng = np.random.Generator(np.random.PCG64(seed))
    dealt: dict[str, list[str]] = {block: [] for block in blocks}
    start = 0  # the odd ones of one group go where those of the last group did not
    for blades in groups.values():
        for i, at in enumerate(rng.permutation(len(blades))):
            dealt[blocks[(start + i) % len(blocks)]].append(blades[at])
        start += len(blades)
    return {block: tuple(blades) for block, blades in dealt.items()}


def blind_codes(blades: Sequence[str], seed: int) -> dict[str, str]:
    """A code for each blade: two letters and a digit, unique, in random order.

    Raises:
        RigError: when a blade is there twice, or there are more than codes.
    """
    twice = repeated(blades)
    if twice:
        raise RigError(f"blade {twice[0]} is there twice", where="codes", remedy="rename one")
    codes = [a + b + digit for a in LETTERS for b in LETTERS for digit in DIGITS if a != b]
    if len(blades) > len(codes):
        raise RigError(
            f"{len(blades)} blades, {len(codes)} codes", where="codes", remedy="split the study"
        )
    rng = np.random.Generator(np.random.PCG64(seed))
    drawn = rng.choice(len(codes), size=len(blades), replace=False)
    return {blade: codes[i] for blade, i in zip(blades, drawn, strict=True)}


def read_codes(entries: Sequence[tuple[str, str]]) -> dict[str, str]:
    """code -> blade from entries (blade, code) made by hand.

    Raises:
        RigError: when a code or a blade is there twice.
    """
    for kind, names in (("blade", [b for b, _ in entries]), ("code", [c for _, c in entries])):
        twice = repeated(names)
        if twice:
            raise RigError(
                f"{kind} {twice[0]} is there twice", where="codes", remedy="give each its own"
            )
    return {code: blade for blade, code in entries}


@dataclass(frozen=True)
class Commitment:
    """What is published before the first trial, and the salt that is kept until the last."""

    digest: str
    salt: str


def new_salt() -> str:
    """A random salt: without it a short list of codes could be guessed from its hash."""
    return secrets.token_hex(SALT_BYTES)


def commit(key: object, salt: str) -> Commitment:
    """Seal `key` (plain data for JSON) under `salt`."""
    return Commitment(_digest(key, salt), salt)


def unchanged(key: object, commitment: Commitment) -> bool:
    """Whether `key` is what was sealed."""
    return hmac.compare_digest(_digest(key, commitment.salt), commitment.digest)


def _digest(key: object, salt: str) -> str:
    text = json.dumps(
        {"key": key, "salt": salt}, sort_keys=True, separators=(",", ":"), ensure_ascii=True,
        allow_nan=False,
    )  # fmt: skip
    return hashlib.sha256(text.encode("ascii")).hexdigest()
