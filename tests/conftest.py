"""Settings for every test, and which tests a system can run at all."""

import sys

from hypothesis import settings

# The same examples on every run: a red test is a change in the code, not in the dice.
settings.register_profile("fixed", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("fixed")

LINUX_ONLY = (
    # AVR compiler, avrdude and emulator: packages of Debian and Ubuntu (tests/tools.sh).
    "emulator",
    "firmware",
    "conformance/test_agreement.py",
    "conformance/test_commissioned.py",
    "conformance/test_emulated.py",
    "conformance/test_fuzz.py",
    "conformance/test_stroke_agreement.py",
    "board/test_flash.py",
    # Pseudo-terminals that take the wire's 250,000 baud; owners, rights, signals, /dev/full.
    "board/test_ports.py",
    "cli/test_full_disk.py",
    "cli/test_posix.py",
    "logbook/test_posix.py",
    # A process that forks in the middle of a run.
    "guide/test_faults_in_a_run.py",
    "guide/test_kills.py",
)


def left_out(platform: str) -> list[str]:
    """What is not collected on a system (its name as in `sys.platform`): nothing on Linux."""
    return [] if platform == "linux" else list(LINUX_ONLY)


collect_ignore = left_out(sys.platform)
