"""The command line: parse, call, print. Nothing is computed here.

Only click is imported at the top of these modules, so that `--help` answers at once.
"""

import os
import sys

try:
    from rig.cli.ending import ended
    from rig.cli.main import cli
except KeyboardInterrupt:  # stopped before there was anything to stop
    sys.exit(130)


def main() -> None:
    """Entry point: every error a person can mend is one line on stderr and exit code 2."""
    if sys.stdin is None:  # started without an input: the same as one that has ended
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115
    sys.exit(ended(cli))


__all__ = ["cli", "main"]
