"""A chain written anew passes every other check; the shop's signature finds it."""

import json
import shutil
import stat
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from rig.errors import RigError
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.logbook.signing import PURPOSE, new_key, sign, verified
from tests.cli.commands import bladerig, told_in_one_line
from tests.logbook.books import START, Clock, small_book
from tests.logbook.test_audit import rechain
from tests.published import load

TOLD = {"logbook_id": "ab" * 16, "row": 3, "hash": "cd" * 32, "at_utc": "2031-05-06T07:08:09Z"}


@pytest.fixture
def signed(tmp_path: Path) -> tuple[Path, Path]:
    """A logbook signed by the command, and the signature file."""
    path = tmp_path / "study.logbook"
    small_book(path)
    done = bladerig("audit", path, "--sign", tmp_path / "shop.key", "--new-key")
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    return path, tmp_path / "study.logbook.22.signature"


def test_the_library_signs_as_rfc_8032_says() -> None:
    """RFC 8032, section 7.1, tests 1 and 2."""
    case = load("ed25519_rfc8032")
    given, wanted = case["inputs"], case["expected"]
    for secret, message, public, signature in zip(
        given["secret"], given["message_hex"], wanted["public"], wanted["signature"], strict=True
    ):
        key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
        assert key.public_key().public_bytes_raw().hex() == public
        made = key.sign(bytes.fromhex(message))
        assert made.hex() == signature
        with pytest.raises(InvalidSignature):
            key.public_key().verify(made, bytes.fromhex(message) + b"x")


def test_a_chain_written_anew_is_found_by_the_signature_and_by_nothing_else(
    signed: tuple[Path, Path],
) -> None:
    path, signature = signed
    rechain(path, lambda row: row._replace(body=row.body.replace("wiped", "oiled")))
    assert audit(path) == []
    done = bladerig("audit", path, "--signed", signature)
    assert done.returncode == 1
    assert "journal row 22 is not the one that was signed" in done.stdout


def test_a_sound_logbook_that_has_grown_still_holds_what_was_signed(
    signed: tuple[Path, Path],
) -> None:
    path, signature = signed
    with Logbook.open(path, writable=True, now=Clock(START + timedelta(days=1))) as book:
        book.append("note", {"text": "later"})
    done = bladerig("audit", path, "--signed", signature)
    assert done.returncode == 0, done.stdout
    assert "It holds all up to row 22 as it was signed by the key" in done.stdout
    assert verified(signature).key in done.stdout


def test_a_signature_of_another_logbook_says_so(signed: tuple[Path, Path], tmp_path: Path) -> None:
    other = tmp_path / "other.logbook"
    small_book(other)
    done = bladerig("audit", other, "--signed", signed[1])
    assert done.returncode == 1 and "made for another logbook" in done.stdout


@pytest.mark.parametrize("field", ["logbook_id", "row", "hash", "at_utc", "signature"])
def test_nothing_in_a_signature_file_can_be_changed(tmp_path: Path, field: str) -> None:
    key, to = tmp_path / "shop.key", tmp_path / "one.signature"
    new_key(key)
    sign(TOLD, key, to)
    assert verified(to).row == 3
    told = json.loads(to.read_text())
    value = told[field]
    told[field] = (
        value + 1 if isinstance(value, int) else value[:-1] + ("0" if value[-1] != "0" else "1")
    )
    to.write_text(json.dumps(told))
    with pytest.raises(RigError, match="the signature is false"):
        verified(to)


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "[" * 9000, '{"purpose": 1}', "\x00\xff", '{"signature": "zz"}']
)
def test_what_is_no_signature_is_told_in_one_line(
    signed: tuple[Path, Path], tmp_path: Path, text: str
) -> None:
    (tmp_path / "odd").write_text(text, "latin-1")
    line = told_in_one_line(bladerig("audit", signed[0], "--signed", tmp_path / "odd"))
    assert "is no signature of a logbook" in line


@pytest.mark.parametrize("point", ["01" + "00" * 31, "00" * 32])
def test_a_key_that_nobody_can_have_is_refused(tmp_path: Path, point: str) -> None:
    made = "01" + "00" * 63 if point.startswith("01") else "00" * 64
    told = {"purpose": PURPOSE, **TOLD, "public_key": point, "signature": made}
    (tmp_path / "empty.signature").write_text(json.dumps(told))
    with pytest.raises(RigError, match=r"nobody can have|is false"):
        verified(tmp_path / "empty.signature")


def test_whose_key_it_must_be_can_be_named(signed: tuple[Path, Path]) -> None:
    path, signature = signed
    good = bladerig("audit", path, "--signed", signature, "--by", verified(signature).key)
    assert good.returncode == 0
    other = bladerig("audit", path, "--signed", signature, "--by", "0cdf-a245-38e7-83dd")
    assert "not signed by the key 0cdf-a245-38e7-83dd: it is by" in told_in_one_line(other)
    assert "no signature was given" in told_in_one_line(bladerig("audit", path, "--by", "00"))


def test_only_its_owner_may_read_a_key_and_none_is_overwritten(
    signed: tuple[Path, Path], tmp_path: Path
) -> None:
    key = tmp_path / "shop.key"
    if sys.platform != "win32":
        assert stat.S_IMODE(key.stat().st_mode) == 0o600
    again = bladerig("audit", signed[0], "--sign", key, "--new-key")
    assert "is there already" in told_in_one_line(again)
    signed[1].rename(tmp_path / "moved")
    again = bladerig("audit", signed[0], "--sign", key, "--new-key")
    assert "exists already" in told_in_one_line(again)
    shutil.copy(tmp_path / "moved", signed[1])
    twice = bladerig("audit", signed[0], "--sign", key)
    assert "is there already" in told_in_one_line(twice)
    signed[1].unlink()
    missing = bladerig("audit", signed[0], "--sign", tmp_path / "none.key")
    assert "a new key is made with --new-key" in told_in_one_line(missing)
    shutil.copy(tmp_path / "moved", tmp_path / "no.key")
    odd = bladerig("audit", signed[0], "--sign", tmp_path / "no.key")
    assert "holds no key for signing" in told_in_one_line(odd)


def test_a_logbook_that_is_not_sound_is_not_signed(
    signed: tuple[Path, Path], tmp_path: Path
) -> None:
    path, signature = signed
    signature.unlink()
    path.write_bytes(path.read_bytes().replace(b"striker wiped", b"striker oiled"))
    done = bladerig("audit", path, "--sign", tmp_path / "shop.key")
    assert done.returncode == 1 and "nothing was signed" in done.stdout
    assert not signature.exists()
