"""Strokes told from the board's totals, through lost lines, kills and restarts."""

from collections.abc import Mapping

from hypothesis import given
from hypothesis import strategies as st

from rig.guide.tally import BITS, COUNTED, REJECTS, Tally, told

TOTALS = st.fixed_dictionaries({key: st.integers(0, (1 << bits) - 1) for key, bits in BITS.items()})
MADE = st.fixed_dictionaries({key: st.integers(0, 500) for key in BITS})


def after(totals: Mapping[str, int], made: Mapping[str, int]) -> dict[str, int]:
    """The board's totals when `made` strokes more were judged, as the wire's width lets it."""
    return {key: (totals[key] + made[key]) % (1 << BITS[key]) for key in BITS}


@given(TOTALS, st.lists(st.tuples(MADE, st.booleans()), max_size=8))
def test_whatever_is_not_heard_of_in_one_boot_is_in_the_count(
    totals: dict[str, int], parts: list[tuple[dict[str, int], bool]]
) -> None:
    tally, truth = Tally.begin(7, totals), dict.fromkeys(BITS, 0)
    for made, heard in parts:
        totals = after(totals, made)
        truth = {key: truth[key] + made[key] for key in BITS}
        if heard:
            tally = Tally.from_dict(tally.to_dict()).seen(totals)  # as out of the journal
    assert tally.seen(totals).strokes == truth


def test_rejected_strokes_are_told_by_reason_and_never_counted() -> None:
    none = dict.fromkeys(BITS, 0)
    tally = Tally.begin(1, none).seen({**none, COUNTED: 4, "partial": 1, "too_fast": 2})
    assert tally.counted == 4
    assert tally.rejected == {"partial": 1, "too_fast": 2}
    assert told(tally.rejected) == "1 turned back before the far switch, 2 too fast"
    assert set(tally.rejected) <= set(REJECTS)


def test_totals_that_wrap_around_lose_no_stroke() -> None:
    before = {key: (1 << bits) - 2 for key, bits in BITS.items()}
    tally = Tally.begin(1, before).seen(dict.fromkeys(BITS, 3))
    assert tally.strokes == dict.fromkeys(BITS, 5)
