"""A shop's own signature on a logbook: Ed25519 (RFC 8032), by the library `cryptography`.

A hash chain holds each row to the one before it, and whoever can write the file can write the whole
chain anew. A signature names the last row's hash, and whoever lacks the key cannot make one for
another chain. It proves that who holds the key vouched for all rows up to that one. It does not
prove when (the time is the signer's own clock), nor that what was written is true.
"""

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from rig.errors import RigError
from rig.logbook.hashing import canonical, sha256

PURPOSE = "bladerig logbook signature 1"
"""Begins what is signed, so that no signature made for another purpose counts."""
_LONGEST = 4096  # bytes of a key or signature file
_FIELDS = {"purpose": str, "logbook_id": str, "row": int, "hash": str, "at_utc": str}


@dataclass(frozen=True)
class Signature:
    """What a signature file says, once its signature was found right.

    Attributes:
        logbook_id: of the logbook it is for.
        row, hash: the last row it covers, and that row's hash in hex.
        at_utc: when, by the signer's clock.
        key: fingerprint of the public key.
    """

    logbook_id: str
    row: int
    hash: str
    at_utc: str
    key: str


def new_key(path: Path) -> str:
    """Makes a key file that only its owner may read; gives the key's fingerprint.

    Raises:
        RigError: the file is there already, or cannot be written.
    """
    key = Ed25519PrivateKey.generate()
    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    _write(path, text, mode=0o600)
    return _fingerprint(key.public_key())


def sign(told: Mapping[str, Any], key_file: Path, to: Path) -> str:
    """Signs a logbook's head into a file of its own; gives the key's fingerprint.

    Args:
        told: `logbook_id`, `row`, `hash` and `at_utc`.
        key_file: from `new_key`.
        to: the signature file, which must not be there yet.

    Raises:
        RigError: no usable key, or the file cannot be written.
    """
    key = _private(key_file)
    body = {"purpose": PURPOSE, **told}
    public = key.public_key().public_bytes_raw().hex()
    made = key.sign(canonical(body).encode("ascii")).hex()
    text = json.dumps({**body, "public_key": public, "signature": made}, indent=1) + "\n"
    _write(to, text.encode("ascii"))
    return _fingerprint(key.public_key())


def verified(path: Path) -> Signature:
    """What a signature file says.

    Raises:
        RigError: it is none, or what it says is not what was signed.
    """
    try:
        told = json.loads(_read(path))
        body = {name: told[name] for name in _FIELDS}
        if any(type(body[name]) is not kind for name, kind in _FIELDS.items()):
            raise TypeError("a field is of the wrong kind")
        public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(told["public_key"]))
        made = bytes.fromhex(told["signature"])
    except (ValueError, KeyError, TypeError, RecursionError):
        raise RigError(
            "is no signature of a logbook",
            where=str(path),
            remedy="name the file that 'bladerig audit --sign' wrote",
        ) from None
    with suppress(InvalidSignature):
        _require_a_key(public, path)
        public.verify(made, canonical(body).encode("ascii"))
        if body["purpose"] == PURPOSE:
            said = {name: body[name] for name in _FIELDS if name != "purpose"}
            return Signature(**said, key=_fingerprint(public))
    raise RigError(
        "the signature is false: the file was changed, or made without the key",
        where=str(path),
        remedy="get it anew from who signed",
    )


def _require_a_key(public: Ed25519PublicKey, path: Path) -> None:
    """Refuse a point of small order: it has no private key, and signatures for it are easily made.

    The empty signature (the neutral point, 0) fits one text in eight or more under such a point,
    and none under a key (RFC 8032, section 5.1.7: [S]B = R + [k]A).
    """
    empty = bytes([1]) + bytes(63)
    for number in range(256):
        with suppress(InvalidSignature):
            public.verify(empty, bytes([number]))
            raise RigError(
                "names a key that nobody can have",
                where=str(path),
                remedy="get the signature anew from who signed",
            )


def _fingerprint(public: Ed25519PublicKey) -> str:
    digits = sha256(public.public_bytes_raw())[:16]
    return "-".join(digits[i : i + 4] for i in range(0, len(digits), 4))


def _private(path: Path) -> Ed25519PrivateKey:
    try:
        key = serialization.load_pem_private_key(_read(path), password=None)
    except TypeError:
        raise RigError(
            "has a passphrase, which is not asked for here",
            where=str(path),
            remedy="use a key without one, on a stick that you keep: --new-key makes it",
        ) from None
    except (ValueError, UnsupportedAlgorithm):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise RigError(
            "holds no key for signing",
            where=str(path),
            remedy="name the key's file, or a new one with --new-key",
        )
    return key


def _read(path: Path) -> bytes:
    try:
        if path.exists() and not path.is_file():
            raise RigError("is no file", where=str(path), remedy="name the file itself")
        with path.open("rb") as file:
            return file.read(_LONGEST)
    except FileNotFoundError:
        remedy = "check the path (a new key is made with --new-key)"
        raise RigError("no such file", where=str(path), remedy=remedy) from None
    except OSError as error:
        raise RigError(str(error.strerror), where=str(path), remedy="check the path") from None


def _write(path: Path, data: bytes, mode: int = 0o666) -> None:
    try:
        made = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(made, "wb") as file:
            file.write(data)
    except FileExistsError:
        raise RigError(
            "exists already", where=str(path), remedy="name another file, or move it away"
        ) from None
    except OSError as error:
        raise RigError(str(error.strerror), where=str(path), remedy="check the folder") from None
