"""The bench's noise, less of it: it must not matter how little or how much."""

from tests.bench.fuzz import decoder


def test_noise_and_damage_give_no_exception_and_no_sample_that_was_not_sent() -> None:
    fed, raised, wrong = decoder(100_000, seed=5)
    assert fed >= 100_000 and (raised, wrong) == (0, 0)
