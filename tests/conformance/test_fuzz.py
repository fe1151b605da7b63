"""A tenth of a million random and mutated bytes into the firmware; the bench does ten million."""

from tests.bench import fuzz


def test_no_noise_resets_the_firmware_or_energises_solenoids_or_drive() -> None:
    survived = fuzz.into_firmware(100_000)
    assert survived.answers
    assert (survived.resets, survived.energised, survived.damaged_out) == (0, 0, 0)
    assert survived.armed > 50  # and it was armed while the noise came in
