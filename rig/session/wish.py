"""What a command wants done at the bench, and how it says that it was stopped."""

from dataclasses import dataclass
from pathlib import Path

import click


@dataclass(frozen=True)
class Wish:
    """What the command line asked for; `device` options as `open_device` takes them."""

    logbook: Path
    settings: dict[str, str]
    port: str | None = None
    virtual: bool = False
    bench_path: Path | None = None
    resume: bool = False
    abandon: str | None = None
    accept_clock: str | None = None
    out_of_turn: str | None = None
    as_json: bool = False

    @property
    def kind(self) -> str:
        """The kind of rig asked for."""
        return "virtual" if self.virtual else "port"


class Stopped(click.Abort):
    """Ctrl-C where there is more to tell than that it stopped."""
