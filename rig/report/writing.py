"""A page from its template, and a file on the disk whole or not at all."""

from contextlib import suppress
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape


def templates() -> Environment:
    """The pages' templates: what is named wrongly fails, and what people typed is text."""
    return Environment(
        loader=PackageLoader("rig.report", "."), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, autoescape=select_autoescape(default=True, default_for_string=True),
    )  # fmt: skip


def whole(target: Path, text: str) -> Path:
    """Write a file under another name and rename it when it is whole; gives its path.

    What is no plain file (a pipe, a device) is written as it is.

    Raises:
        OSError: with the file's name; then a file that was there before is as it was.
    """
    making = target.with_name(target.name + ".new")
    plain = not target.exists() or target.is_file()
    try:
        if not plain:
            target.write_text(text, encoding="utf-8")
            return target
        making.write_text(text, encoding="utf-8")
        making.replace(target)
    except OSError as error:
        if plain:
            with suppress(OSError):
                making.unlink(missing_ok=True)
        raise type(error)(error.errno, error.strerror, str(target)) from None
    return target
