"""The words that are understood at every prompt, and what they do."""

DONE = ("", "done")
STOP, BACK = "stop", "back"
HELP = ("help", "?")
COMMANDS = (STOP, BACK, *HELP)

HOW = "Enter: done. back: change your last answer. stop: stop safely, go on later. help: explain."
"""Said with the first prompt of a run."""


class SaidStop(KeyboardInterrupt):
    """The person typed `stop`: the same as Ctrl-C."""


class SaidBack(Exception):
    """The person wants to change an answer given before."""


def command(line: str) -> str:
    """The command that a line is, "" when it is none.

    Raises:
        SaidStop, SaidBack: it says so.
    """
    word = line.strip().lower()
    if word == STOP:
        raise SaidStop
    if word == BACK:
        raise SaidBack
    return HELP[0] if word in HELP else ""
