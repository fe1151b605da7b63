"""How a command ends: exit codes, and errors as one line."""

import sys
from collections.abc import Callable
from typing import Any

import click

from rig.errors import RigError

STOPPED = 130


def ended(command: Callable[..., Any]) -> int:
    """Run the command line; 0 done, 1 findings, 2 something to mend, 130 stopped."""
    try:
        result = command(standalone_mode=False)
    except RigError as error:
        return _say(str(error))
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return 2
    except (KeyboardInterrupt, click.Abort):
        click.echo("\nStopped; the rig was disarmed. The same command goes on from here.", err=True)
        return STOPPED
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        return _say(f"{place}{error.strerror or error}; check the file, its folder and the disk")
    return result if isinstance(result, int) else 0


def _say(text: str) -> int:
    for line in text.splitlines():
        click.echo(f"bladerig: {line}", err=True)
    return 2
