"""An empty, broken or restarted record gives reasons: never a traceback, never a valid result."""

from collections.abc import Iterator

import pytest

from tests.guide.damaged import DAMAGE, TOLD, Recorded, frames_of, one_of_each

PLACES = 9


@pytest.fixture(scope="module")
def stretches(tmp_path_factory: pytest.TempPathFactory) -> list[Recorded]:
    """One of each measurand that is computed from a record."""
    return one_of_each(tmp_path_factory.mktemp("records"))


def spoilt(one: Recorded) -> Iterator[tuple[str, bytes]]:
    frames = frames_of(one.raw)
    step = len(frames) // PLACES  # before the first, no channel has sent twice
    for at in range(step, len(frames), step):
        for kind, damage in DAMAGE.items():
            yield kind, damage(frames, at)


def test_an_empty_record_is_not_valid_and_says_why(stretches: list[Recorded]) -> None:
    for one in stretches:
        assert one.result(b"")["reasons"], one.measurand


def test_a_record_broken_anywhere_never_raises_and_says_what_broke_it(
    stretches: list[Recorded],
) -> None:
    for one in stretches:
        assert not set(TOLD["restarts"]) & {r["name"] for r in one.result(one.raw)["reasons"]}
        for kind, raw in spoilt(one):
            names = {reason["name"] for reason in one.result(raw)["reasons"]}
            assert kind not in TOLD or names & TOLD[kind], (one.measurand, kind, names)


def test_what_a_restarted_board_says_later_is_not_mixed_into_the_record(
    stretches: list[Recorded],
) -> None:
    for one in stretches:
        frames = frames_of(one.raw)
        at = len(frames) // 2
        cut, restarted = (
            one.result(DAMAGE["ends"](frames, at)),
            one.result(DAMAGE["restarts"](frames, at)),
        )
        assert cut["measurands"] == restarted["measurands"], one.measurand
