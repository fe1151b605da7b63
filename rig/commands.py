"""Commands as a person can type them: a path with spaces is quoted."""

import os
import shlex
import subprocess


def typed(*parts: object) -> str:
    """The parts as one line for the user's own shell."""
    texts = [str(part) for part in parts]
    return subprocess.list2cmdline(texts) if os.name == "nt" else shlex.join(texts)
