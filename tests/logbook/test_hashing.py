"""Canonical JSON has one text for a value and loses nothing."""

import hashlib
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.logbook.hashing import GENESIS_PREVIOUS, canonical, fingerprint, row_hash, sha256

values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(), max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(values)
def test_a_value_comes_back_from_its_canonical_text(value: object) -> None:
    assert json.loads(canonical(value)) == value


@given(st.dictionaries(st.text(max_size=4), values, max_size=5))
def test_the_order_of_keys_does_not_change_the_text(value: dict[str, object]) -> None:
    assert canonical(dict(reversed(value.items()))) == canonical(value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_keeps_every_bit(value: float) -> None:
    again = json.loads(canonical([value]))[0]
    assert (again, math.copysign(1, again)) == (value, math.copysign(1, value))


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_with_its_place(bad: float) -> None:
    with pytest.raises(ValueError, match=r"body\.peaks\[1\]\.force_n"):
        canonical({"peaks": [{}, {"force_n": bad}]})


@pytest.mark.parametrize("bad", [{1: "one"}, {"frames": b"\x00"}, {"when": object()}])
def test_what_json_would_change_or_lose_is_refused(bad: object) -> None:
    with pytest.raises(TypeError, match="body"):
        canonical(bad)


def test_the_hash_of_a_row_is_sha_256_over_the_previous_hash_the_head_and_the_body() -> None:
    # Written out by hand, so that a later release cannot change what old files are held to.
    text = b'[1,"2031-05-06T07:08:09.000000Z",null,"genesis"]\n{"title":"t"}'
    expected = hashlib.sha256(bytes(32) + text).digest()
    at_utc, body = "2031-05-06T07:08:09.000000Z", '{"title":"t"}'
    assert row_hash(GENESIS_PREVIOUS, 1, at_utc, None, "genesis", body) == expected


def test_a_fingerprint_is_the_number_and_the_start_of_the_hash() -> None:
    digest = bytes.fromhex("ba7816bf8f01cfea") + bytes(24)
    assert fingerprint(7, digest) == "7-ba78-16bf-8f01-cfea"


def test_a_content_hash_is_the_published_sha_256() -> None:
    # FIPS 180-4, the one-block example "abc".
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256(b"abc") == published
