"""`bladerig study deal`: blind codes, random order, and where the key of the codes is kept."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.study_next import LOGBOOK, PATH, labels_of

if TYPE_CHECKING:
    from rig.study.register.kept import Order
    from rig.study.register.order import Seal

BY_OTHER = (
    "let someone print and stick them who will not test, put the paper into a closed envelope and "
    "delete the file: it is the key"
)
ALONE = (
    "Alone: fold each code in without reading it, tape the slip to its blade, cover the blade's "
    "own mark, tear the name off, shuffle the blades unseen, and only then unfold the codes (the "
    "sheet says it step by step)."
)


@click.command()
@LOGBOOK
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    help="Of the order within blocks; left out, one is drawn and recorded. The codes do not come "
    "from it: it opens nothing.",
)
@click.option(
    "--out", type=PATH, help="Label sheet to write; left out, beside the logbook or the key file."
)
@click.option(
    "--key-file",
    type=PATH,
    help="Write the key to this file and keep it out of the logbook; give it to somebody, and keep "
    "two copies: without it the study cannot be opened.",
)
@click.option(
    "--passphrase",
    is_flag=True,
    help="Lock the key by a passphrase that somebody types who will not test.",
)
@click.option(
    "--labels-by",
    type=click.Choice(["other", "alone"]),
    help="Who sticks the labels on the blades. other: somebody who does not test. alone: you "
    "yourself, by the folded slips of the label sheet. The report says which; left out, that "
    "nobody said.",
)
def deal(
    logbook: Path, seed: int | None, out: Path | None, key_file: Path | None, passphrase: bool,
    labels_by: str | None,
) -> None:  # fmt: skip
    """Give every blade a blind code and put all trials in random order; the key is sealed.

    Someone who will not test sticks the labels on: the sheet shows blade and code. Then it goes
    into a closed envelope. Left in the logbook, the key can be read by whoever unpacks it; with
    --key-file or --passphrase it is kept from whoever has the logbook only.

    \b
    Examples:
      bladerig study deal tempers.logbook --labels-by other
      bladerig study deal tempers.logbook --key-file /media/stick/tempers.key --labels-by other
    """
    import secrets

    from rig.cli import out_paths
    from rig.errors import RigError
    from rig.logbook.store import Logbook
    from rig.report import labels
    from rig.study.register import dealing, kept

    if key_file is not None and passphrase:
        raise RigError("--key-file and --passphrase exclude each other", remedy="give one of them")
    sheet = out or labels_of(key_file or logbook)
    out_paths.require_file(sheet)
    with Logbook.open(logbook, writable=True) as book:
        title = kept.require(book).record.title
        order = dealing.deal(
            book,
            secrets.randbits(31) if seed is None else seed,
            label=lambda key: labels.write(title, key, sheet),
            keep=_keep(title, key_file, passphrase),
            labels_by=labels_by or "",
        )
    click.echo(_said(order, sheet, key_file, logbook))


def _keep(title: str, key_file: Path | None, passphrase: bool) -> "Callable[[Seal], Seal] | None":
    """What is done with the key."""
    from rig.cli import out_paths
    from rig.study.register import sealing

    if key_file is not None:
        out_paths.require_file(key_file)
        return lambda sealed: sealing.put_away(sealed, key_file, title)
    if passphrase:
        word = _passphrase("Passphrase, typed by somebody who will not test", twice=True)
        return lambda sealed: sealing.locked(sealed, word)
    return None


def _passphrase(text: str, twice: bool = False) -> str:
    return str(click.prompt(text, hide_input=True, confirmation_prompt=twice, err=True))


def _labels(by: str) -> str:
    """What to do with the label sheet, for who sticks the labels on."""
    from rig.study.register.order import ALONE as BY_ONESELF
    from rig.study.register.order import OTHER

    return {OTHER: f" ({BY_OTHER})", BY_ONESELF: f"\n{ALONE}"}.get(by, f" ({BY_OTHER})\n{ALONE}")


def _said(order: "Order", sheet: Path, key_file: Path | None, logbook: Path) -> str:
    from rig.commands import typed
    from rig.study.register.order import FILE, PASSPHRASE

    where = {
        FILE: f"Key: in {key_file}, not in the logbook. Give it to somebody, keep two copies: "
        "without it the study cannot be opened.",
        PASSPHRASE: "Key: in the logbook, locked by the passphrase. Forgotten, the study cannot be "
        "opened.",
    }.get(
        order.sealed.held,
        "Key: packed in the logbook, where whoever wants can unpack it. To keep it from the tester "
        "deal with --key-file or --passphrase.",
    )
    return (
        f"{len(order.codes)} blades have their codes, {len(order.trials)} trials their order "
        f"(seed {order.seed}; it says nothing of the codes).\nSeal: {order.sealed.digest}\n"
        f"{where}\n"
        f"Labels: {sheet}{_labels(order.labels_by)}\n"
        f"Next: {typed('bladerig', 'study', 'next', logbook)}"
    )
