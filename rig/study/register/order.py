"""Order and blindness: random order within blocks, codes that give nothing away, a commitment.

The order within a block comes from numpy's Generator over PCG64 with a recorded seed, and from the
codes alone: anyone can draw it again, and it says nothing of the blades. The codes and the blocks
come from a secret that is sealed with the key, so that no seed that is shown opens it. The seal is
SHA-256 of the canonical JSON of key and secret, published before the first trial; afterwards anyone
can check that neither was changed.
"""

import base64
import hashlib
import hmac
import json
import secrets
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rig.errors import RigError
from rig.study.statistics.data import repeated

GENERATOR = "numpy PCG64"
# Without 0 O, 1 I L, 2 Z, 5 S, 8 B, U V: signs mistaken for one another in pencil.
LETTERS = "ACDEFGHJKMNPQRTWXY"
DIGITS = "34679"
SECRET_BYTES = 16
LOGBOOK, PASSPHRASE, FILE = "logbook", "passphrase", "file"  # where the key is kept
OTHER, ALONE = "other", "alone"  # who sticks the labels on


@dataclass(frozen=True)
class Slot:
    """One place in the order: which blade, in which block (sheet, roll, day, load)."""

    place: int
    block: str
    blade: str


def random_order(blocks: Mapping[str, Sequence[str]], seed: int) -> tuple[Slot, ...]:
    """Blades in random order within each block, blocks in the order given.

    Args:
        blocks: block -> codes of the blades tested in it, in any order; a blade may stand in
            several blocks, and several times in one (repeats).
        seed: recorded with the study.
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    slots: list[Slot] = []
    for block, blades in blocks.items():
        # Sorted: which group a blade is of must not show in what a known seed does to the order.
        codes = sorted(blades)
        for i in rng.permutation(len(codes)):
            slots.append(Slot(len(slots) + 1, block, codes[i]))
    return tuple(slots)


def balanced_blocks(
    groups: Mapping[str, Sequence[str]], blocks: Sequence[str], secret: str
) -> dict[str, tuple[str, ...]]:
    """Deal each group's blades to the blocks as evenly as they go, at random by a sealed secret.

    Groups of one size lie in the blocks alike, the odd blades of all of them in the first blocks:
    what blocks differ by then cancels in every difference of two groups.

    Raises:
        RigError: without blocks, or when a blade is in two groups.
    """
    if not blocks:
        raise RigError("no blocks", where="order", remedy="name one block or more")
    twice = repeated(blade for blades in groups.values() for blade in blades)
    if twice:
        raise RigError(f"blade {twice[0]} is there twice", where="order", remedy="rename one")
    rng = _sealed_generator(secret, "blocks")
    dealt: dict[str, list[str]] = {block: [] for block in blocks}
    for blades in groups.values():
        for i, at in enumerate(rng.permutation(len(blades))):
            dealt[blocks[i % len(blocks)]].append(blades[at])
    return {block: tuple(blades) for block, blades in dealt.items()}


def in_rounds(groups: Mapping[str, Sequence[str]], secret: str, purpose: str) -> list[str]:
    """All blades, every group spread evenly over the whole, at random by a sealed secret.

    Groups of one size make rounds, each with one blade of every group.
    """
    rng = _sealed_generator(secret, f"rounds {purpose}")
    placed = [
        ((i + 0.5) / len(blades), rng.random(), blades[at])
        for blades in groups.values()
        for i, at in enumerate(rng.permutation(len(blades)))
    ]
    return [blade for _, _, blade in sorted(placed)]


def blind_codes(blades: Sequence[str], secret: str) -> dict[str, str]:
    """A code for each blade: two letters and a digit, unique, drawn at random by a sealed secret.

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
    rng = _sealed_generator(secret, "codes")
    drawn = rng.choice(len(codes), size=len(blades), replace=False)
    return {blade: codes[i] for blade, i in zip(blades, drawn, strict=True)}


@dataclass(frozen=True)
class Seal:
    """What is published before the first trial, and what it seals.

    Attributes:
        digest: SHA-256 of the sealed text, in hex.
        packed: the sealed text, packed so that nobody reads it by accident; locked, or left out,
            as `held` says (`rig.study.register.sealing`).
        held: where the key is kept: `LOGBOOK`, `PASSPHRASE` or `FILE`.
        salt: of the lock, in hex.
    """

    digest: str
    packed: str
    held: str = LOGBOOK
    salt: str = ""


def new_secret() -> str:
    """What codes and blocks are drawn by; sealed, or a short list of codes could be guessed."""
    return secrets.token_hex(SECRET_BYTES)


def seal(key: Mapping[str, str], secret: str) -> Seal:
    """Seal the key (code -> blade) together with the secret that it was drawn by."""
    text = json.dumps(
        {"key": dict(key), "secret": secret}, sort_keys=True, separators=(",", ":"),
        ensure_ascii=True,
    ).encode("ascii")  # fmt: skip
    packed = base64.b64encode(zlib.compress(text)).decode("ascii")
    return Seal(hashlib.sha256(text).hexdigest(), packed)


def opened(sealed: Seal) -> tuple[dict[str, str], str]:
    """Key and secret of a seal.

    Raises:
        RigError: they are not what was sealed.
    """
    try:
        text = zlib.decompress(base64.b64decode(sealed.packed, validate=True))
    except (ValueError, zlib.error):
        text = b""
    if not hmac.compare_digest(hashlib.sha256(text).hexdigest(), sealed.digest):
        raise RigError(
            "the key of the codes is not the one that was sealed",
            where="study",
            remedy="run the audit on the logbook; use a copy from before",
        )
    told = json.loads(text)
    return told["key"], told["secret"]


def _sealed_generator(secret: str, purpose: str) -> np.random.Generator:
    drawn = hashlib.sha256(f"{purpose} {secret}".encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(drawn)))
