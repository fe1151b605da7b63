"""Order, codes and the seal."""

import hashlib
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import RigError
from rig.study.register.order import (
    balanced_blocks,
    blind_codes,
    new_secret,
    opened,
    random_order,
    seal,
)

BLADES = [f"B{i}" for i in range(12)]
SECRET = "00ff"


def test_the_same_seed_gives_the_same_order_and_another_seed_another() -> None:
    blocks = {"sheet 1": BLADES[:6], "sheet 2": BLADES[6:]}
    assert random_order(blocks, 7) == random_order(blocks, 7)
    assert random_order(blocks, 7) != random_order(blocks, 8)


@given(st.integers(0, 2**32), st.integers(1, 5), st.integers(1, 8))
def test_each_block_holds_its_blades_once_and_none_other(seed: int, blocks: int, n: int) -> None:
    plan = {f"block {b}": [f"{b}.{i}" for i in range(n)] for b in range(blocks)}
    slots = random_order(plan, seed)
    assert [slot.place for slot in slots] == list(range(1, blocks * n + 1))
    for block, blades in plan.items():
        assert sorted(s.blade for s in slots if s.block == block) == sorted(blades)


def test_the_order_says_nothing_of_the_groups() -> None:
    told, mixed = ["KR4", "AC3", "TP9", "FG6"], ["FG6", "TP9", "AC3", "KR4"]
    assert random_order({"b": told}, 5) == random_order({"b": mixed}, 5)


@given(st.text("0123456789abcdef"), st.integers(1, 4), st.integers(1, 9), st.integers(2, 4))
def test_no_block_gets_two_more_of_a_group_than_another(
    secret: str, blocks: int, n: int, groups: int
) -> None:
    plan = {f"G{g}": [f"{g}.{i}" for i in range(n)] for g in range(groups)}
    dealt = balanced_blocks(plan, [f"block {b}" for b in range(blocks)], secret)
    for blades in plan.values():
        counts = [sum(blade in blades for blade in block) for block in dealt.values()]
        assert counts == [n // blocks + (at < n % blocks) for at in range(blocks)], (
            "groups lie in the blocks alike"
        )


def test_every_place_is_as_likely_for_every_blade() -> None:
    first = [random_order({"b": BLADES[:4]}, seed)[0].blade for seed in range(2000)]
    for blade in BLADES[:4]:
        assert 0.21 < first.count(blade) / 2000 < 0.29


@given(st.text("0123456789abcdef"), st.integers(0, 300))
def test_codes_are_unique_and_have_no_mistakable_sign(secret: str, n: int) -> None:
    codes = blind_codes([f"B{i}" for i in range(n)], secret)
    assert len(set(codes.values())) == n
    assert not set("".join(codes.values())) & set("0O1IL2Z5S8BUV")


def test_a_blade_twice_is_refused() -> None:
    with pytest.raises(RigError, match="blade B1 is there twice"):
        blind_codes(["B1", "B1"], SECRET)


def test_a_seal_gives_back_what_was_sealed_and_nothing_else() -> None:
    key = {code: blade for blade, code in blind_codes(BLADES, SECRET).items()}
    sealed = seal(key, SECRET)
    assert opened(sealed) == (key, SECRET)
    codes = sorted(key)
    swapped = {**key, codes[0]: key[codes[1]], codes[1]: key[codes[0]]}
    for other in (seal(swapped, SECRET), seal(key, "00fe")):
        assert other.digest != sealed.digest
        with pytest.raises(RigError, match="not the one that was sealed"):
            opened(replace(sealed, packed=other.packed))
    with pytest.raises(RigError, match="not the one that was sealed"):
        opened(replace(sealed, packed="no base64!"))


def test_the_codes_come_again_from_the_opened_secret() -> None:
    key, secret = opened(seal({"AC3": "B1"}, new_secret()))
    assert key == {"AC3": "B1"} and blind_codes(BLADES, secret) == blind_codes(BLADES, secret)
    assert blind_codes(BLADES, secret) != blind_codes(BLADES, new_secret())


def test_anyone_can_check_the_seal_with_a_hash_program() -> None:
    text = '{"key":{"KR4":"B1"},"secret":"00ff"}'
    assert seal({"KR4": "B1"}, SECRET).digest == hashlib.sha256(text.encode()).hexdigest()
