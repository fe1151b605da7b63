"""`python -m tests.emulator`: the real firmware on a virtual rig, behind a pseudo-terminal."""

import argparse

from tests.emulator.pty_server import main

parser = argparse.ArgumentParser(prog="python -m tests.emulator", description=__doc__)
parser.add_argument(
    "--exit-with-stdin",
    action="store_true",
    help="end when standard input ends (default: go on serving)",
)
main(parser.parse_args().exit_with_stdin)
