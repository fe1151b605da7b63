"""How a command ends: exit codes, and errors as one line."""

import json
import os
import re
import sys
from collections.abc import Callable, Sequence
from typing import Any

import click

from rig.errors import RigError
from rig.session.wish import Stopped

STOPPED = 130
UNREAD = 141  # as a shell tells of a program that a closed pipe ended


def ended(command: Callable[..., Any]) -> int:
    """Run the command line; 0 done, 1 findings, 2 something to mend, 130 stopped, 141 unread."""
    try:
        result = command(standalone_mode=False)
    except RigError as error:
        return _say(error)
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return 2
    except (KeyboardInterrupt, click.Abort) as stop:
        told = str(stop) if isinstance(stop, Stopped) else "Stopped."
        click.echo(f"\n{told}", err=True)
        return STOPPED
    except BrokenPipeError:
        return _unread()
    except SystemExit as error:  # click's own word for a pipe that was closed
        if error.code != 1:
            raise
        return _unread()
    except OSError as error:
        what = error.strerror or str(error)
        return _say(RigError(
            what, where=str(error.filename or ""), remedy="check the file, its folder and the disk"
        ))  # fmt: skip
    return result if isinstance(result, int) else 0


def _unread() -> int:
    """Nobody read to the end: neither done nor findings."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - nothing is flushed there
    return UNREAD


def as_typed(line: str, words: Sequence[str]) -> str:
    """The line with each file that was named on the command line as it was typed there."""
    for word in sorted(words, key=len, reverse=True):
        full = os.path.realpath(word)
        if word and not word.startswith("-") and full != word:
            as_is = word.replace("\\", r"\\")
            line = re.sub(re.escape(full) + r"(?![\w/\\-]|\.\w)", as_is, line)
    return line


def _say(error: RigError) -> int:
    for line in str(error).splitlines():
        click.echo(f"bladerig: {as_typed(line, sys.argv[1:])}", err=True)
    if "--json" in sys.argv:
        told = {"what": error.what, "where": error.where, "remedy": error.remedy}
        faults = getattr(error, "faults", None)
        told_all = told if faults is None else {**told, "faults": faults}
        click.echo(json.dumps({"error": told_all}))
    return 2
