"""`bladerig audit`: is a logbook whole and unchanged, and who vouches for it."""

import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.records import JSON, LOGBOOK
from rig.errors import RigError

if TYPE_CHECKING:
    from rig.logbook.findings import Finding
    from rig.logbook.signing import Signature


@click.command()
@LOGBOOK
@click.option(
    "--printed", metavar="FINGERPRINT", help="Fingerprint on a printed report, to compare."
)
@click.option(
    "--sign",
    "key",
    type=click.Path(path_type=Path),
    metavar="KEY",
    help="Sign a sound logbook with the shop's key, into a file beside it.",
)
@click.option("--new-key", is_flag=True, help="With --sign: make that key first.")
@click.option(
    "--signed",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Signature file, to check the logbook against.",
)
@click.option("--by", metavar="KEY-FINGERPRINT", help="With --signed: whose key it must be.")
@JSON
def audit(
    logbook: Path,
    printed: str | None,
    key: Path | None,
    new_key: bool,
    signed: Path | None,
    by: str | None,
    as_json: bool,
) -> int:
    """Check every row of a logbook against its hashes, and say what is wrong, where.

    A changed row shows by itself. Two things do NOT: rows cut off at the end, and a journal that
    somebody wrote anew from some row on, hashes and all. Against both stand the fingerprint that
    every page prints (--printed), and the signature of the shop (--sign makes one with a key that
    only the shop has, --signed checks it). Of a logbook whose writer was stopped, rows after its
    last whole trial can be cut off in its side file; those of whole trials cannot.

    Keep the key away from the logbook, and tell customers its fingerprint by another way. Send
    signatures away on the day: to have been sent proves the date, the signer's clock does not.

    \b
    Examples:
      bladerig audit blades.logbook
      bladerig audit blades.logbook --printed 146-0cdf-a245-38e7-83dd
      bladerig audit blades.logbook --sign ~/shop.key --new-key
      bladerig audit blades.logbook --signed blades.logbook.146.signature --by 0cdf-a245-38e7-83dd
    """
    from rig.logbook.audit import audit as check

    if new_key and key is None:
        raise RigError("--new-key needs --sign KEY", remedy="name the file that is to hold the key")
    printed = None if printed is None else _fingerprint(printed)
    signature = None if signed is None else _verified(signed)
    if by is not None and (signature is None or signature.key != by.strip().lower()):
        whose = "no signature was given" if signature is None else f"it is by {signature.key}"
        raise RigError(f"not signed by the key {by}: {whose}", where=str(signed or logbook),
                       remedy="do not rely on it: ask the shop for its signature")  # fmt: skip
    findings = check(logbook, printed=printed, signed=signature)
    made = None if key is None or findings else _sign(logbook, key, new_key=new_key)
    head = None if findings else _head(logbook)
    if as_json:
        click.echo(json.dumps(_told(findings, head, signature, made)))
        return 1 if findings else 0
    for finding in findings:
        click.echo(f"{finding.place}: {finding.what}; {finding.remedy}")
    if findings:
        unsigned = "; nothing was signed" if key is not None else ""
        many = "s" if len(findings) > 1 else ""
        click.echo(f"{logbook}: {len(findings)} finding{many}{unsigned}")
        return 1
    click.echo(f"{logbook}: sound; fingerprint {head}")
    for line in _how_far(printed, signature):
        click.echo(line)
    if made is not None:
        click.echo(f"Signed: {made[0]}, by the key {made[1]}. Keep {key} away from the logbook.")
    return 0


def _told(
    findings: "Sequence[Finding]",
    head: str | None,
    signature: "Signature | None",
    made: tuple[Path, str] | None,
) -> dict[str, Any]:
    listed = [{"place": f.place, "what": f.what, "remedy": f.remedy} for f in findings]
    found: dict[str, Any] = {"sound": not findings, "fingerprint": head, "findings": listed}
    if signature is not None:
        found["signed"] = vars(signature)
    if made is not None:
        found["signature"] = {"file": str(made[0]), "key": made[1]}
    return found


def _fingerprint(printed: str) -> str:
    """The printed fingerprint as the audit compares it.

    Raises:
        RigError: it cannot be one.
    """
    told = printed.strip().lower()
    if not re.fullmatch(r"\d+(-[0-9a-f]{4}){4}", told):
        raise RigError(
            f"'{printed}' is mistyped: it is no fingerprint",
            where="--printed",
            remedy="it looks like 146-0cdf-a245-38e7-83dd and stands at the foot of the page",
        )
    return told


def _verified(path: Path) -> "Signature":
    from rig.logbook.signing import verified

    return verified(path)


def _sign(logbook: Path, key: Path, *, new_key: bool) -> tuple[Path, str]:
    """Sign the logbook's last row; the signature's file and the key's fingerprint."""
    from datetime import UTC, datetime

    from rig.logbook import signing
    from rig.logbook.store import Logbook

    with Logbook.open(logbook, writable=False) as book:
        row, digest = book.head()
        told = {"logbook_id": book.logbook_id, "row": row, "hash": digest.hex(),
                "at_utc": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")}  # fmt: skip
    to = logbook.with_name(f"{logbook.name}.{row}.signature")
    if to.exists():
        raise RigError(
            "is there already: the logbook is signed as it is",
            where=str(to),
            remedy="move it away to sign again",
        )
    if new_key:
        signing.new_key(key)
    return to, signing.sign(told, key, to)


def _head(logbook: Path) -> str:
    from rig.logbook.store import Logbook

    with Logbook.open(logbook, writable=False) as book:
        return book.head_fingerprint()


def _how_far(printed: str | None, signed: "Signature | None") -> Iterator[str]:
    """What "sound" covers, and what it does not."""
    if printed is not None:
        yield f"It holds all up to the printed row {printed.partition('-')[0]}, unchanged."
    if signed is not None:
        yield (
            f"It holds all up to row {signed.row} as it was signed by the key {signed.key} "
            f"({signed.at_utc} by the signer's clock). That this key is the shop's you must know "
            "from the shop itself."
        )
    if printed is None and signed is None:
        yield (
            "Rows cut off at the end, or a journal written anew as a whole, do not show by "
            "themselves: compare with a printed page, --printed FINGERPRINT, or with a signature, "
            "--signed FILE"
        )
