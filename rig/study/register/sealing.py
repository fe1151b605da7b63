"""Where the key of the codes is kept until the last trial is made.

In the logbook, packed so that nobody reads it by accident; there locked by a passphrase that
somebody else knows; or in a file that somebody else keeps. Only the last two keep it from whoever
has the logbook.
"""

import base64
import hashlib
import json
import secrets
import unicodedata
from dataclasses import replace
from pathlib import Path

from rig.errors import RigError
from rig.study.register.order import FILE, PASSPHRASE, Seal, opened

# 128 MiB for each guess at a passphrase (RFC 7914; this size is common practice, no source).
COST, BLOCK_SIZE, PARALLEL = 2**17, 8, 1
SALT_BYTES = 16


def stretched(
    passphrase: bytes, salt: bytes, cost: int, block_size: int, parallel: int, length: int
) -> bytes:
    """As many bytes as wanted from a passphrase, by scrypt (RFC 7914): each guess costs memory."""
    memory = 128 * block_size * (cost + parallel + 2)
    return hashlib.scrypt(
        passphrase, salt=salt, n=cost, r=block_size, p=parallel, maxmem=2 * memory, dklen=length
    )


def locked(sealed: Seal, passphrase: str) -> Seal:
    """The same seal, its key readable only with the passphrase."""
    salt = secrets.token_bytes(SALT_BYTES)
    packed = _crossed(sealed.packed.encode("ascii"), passphrase, salt)
    return replace(
        sealed, packed=base64.b64encode(packed).decode("ascii"), held=PASSPHRASE, salt=salt.hex()
    )


def unlocked(sealed: Seal, passphrase: str) -> Seal:
    """The seal with its key as it was before `locked`.

    Raises:
        RigError: it is another passphrase.
    """
    packed = _crossed(base64.b64decode(sealed.packed), passphrase, bytes.fromhex(sealed.salt))
    plain = replace(sealed, packed=packed.decode("latin-1"))
    try:
        opened(plain)
    except RigError:
        raise RigError(
            "this passphrase does not open the key",
            where="study",
            remedy="ask whoever chose it; capitals and spaces count",
        ) from None
    return plain


def _crossed(text: bytes, passphrase: str, salt: bytes) -> bytes:
    """Text and passphrase crossed bit by bit.

    Safe because the pad is as long as the text and never used twice: every lock has its own salt.
    That it was opened right is seen by the seal's check sum.
    """
    spoken = unicodedata.normalize("NFKC", passphrase).encode("utf-8")
    pad = stretched(spoken, salt, COST, BLOCK_SIZE, PARALLEL, len(text))
    return bytes(a ^ b for a, b in zip(text, pad, strict=True))


def put_away(sealed: Seal, path: Path, title: str) -> Seal:
    """The same seal, its key written to a file of its own and left out of the logbook.

    Raises:
        RigError: the file is there already, or cannot be written.
    """
    told = {"what": f"key of the codes of: {title}", "seal": sealed.digest, "key": sealed.packed}
    try:
        with path.open("x", encoding="utf-8") as file:
            json.dump(told, file, indent=1)
    except FileExistsError:
        raise RigError("is there already", where=str(path), remedy="name another file") from None
    except OSError as error:
        raise RigError(
            f"cannot be written ({error.strerror})", where=str(path), remedy="name another place"
        ) from None
    return replace(sealed, packed="", held=FILE)


def fetched(sealed: Seal, path: Path) -> Seal:
    """The seal with its key from the file of `put_away`.

    Raises:
        RigError: the file cannot be read, or is the key of another study.
    """
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        seal_of, packed = str(told["seal"]), str(told["key"])
    except (OSError, UnicodeDecodeError, ValueError, KeyError, TypeError) as error:
        why = getattr(error, "strerror", None) or "it holds no key"
        raise RigError(
            f"cannot be used ({why})", where=str(path), remedy="give the file that 'deal' wrote"
        ) from None
    if seal_of != sealed.digest:
        raise RigError(
            "is the key of another study",
            where=str(path),
            remedy=f"give the file with the seal {sealed.digest[:12]}...",
        )
    return replace(sealed, packed=packed)
