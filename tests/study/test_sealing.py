"""The key of the codes kept from whoever has the logbook: in a file, or behind a passphrase."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from rig.errors import RigError
from rig.logbook import Logbook
from rig.report import studypage
from rig.study.answers import whole
from rig.study.register import kept, sealing
from rig.study.register.order import FILE, PASSPHRASE, Seal, opened, seal
from tests.cli.inside import done, refused, typed_in
from tests.published import load
from tests.study.books import record

KEY, SECRET = {"AC3": "B1", "KR4": "A1"}, "00ff"


def test_a_passphrase_is_stretched_as_the_standard_says() -> None:
    case = load("scrypt_rfc7914")  # RFC 7914, section 12
    for given, wanted in zip(case["inputs"]["cases"], case["expected"]["hex"], strict=True):
        told = sealing.stretched(
            given["P"].encode(), given["S"].encode(), given["N"], given["r"], given["p"],
            given["len"],
        )  # fmt: skip
        assert told.hex() == wanted


def test_a_locked_key_opens_with_its_passphrase_only() -> None:
    sealed = seal(KEY, SECRET)
    locked = sealing.locked(sealed, "grüne Esche")
    assert locked.digest == sealed.digest and locked.held == PASSPHRASE
    assert sealed.packed not in locked.packed
    with pytest.raises(RigError, match="not the one that was sealed"):
        opened(locked)
    assert opened(sealing.unlocked(locked, "grüne Esche")) == (KEY, SECRET)
    assert opened(sealing.unlocked(locked, "gru\u0308ne Esche")) == (KEY, SECRET), "as typed apart"
    with pytest.raises(RigError, match="does not open the key"):
        sealing.unlocked(locked, "grüne esche")


def test_the_same_passphrase_never_makes_the_same_pad() -> None:
    sealed = seal(KEY, SECRET)
    assert sealing.locked(sealed, "a").packed != sealing.locked(sealed, "a").packed


def test_a_key_file_is_written_once_and_fits_its_own_study_only(tmp_path: Path) -> None:
    path, sealed = tmp_path / "k.key", seal(KEY, SECRET)
    away = sealing.put_away(sealed, path, "t")
    assert away == Seal(sealed.digest, "", FILE)
    assert opened(sealing.fetched(away, path)) == (KEY, SECRET)
    with pytest.raises(RigError, match="is there already"):
        sealing.put_away(sealed, path, "t")
    with pytest.raises(RigError, match="key of another study"):
        sealing.fetched(replace(away, digest="00"), path)
    told = json.loads(path.read_text(encoding="utf-8"))
    other = seal({"AC3": "A1", "KR4": "B1"}, SECRET)
    path.write_text(json.dumps({**told, "key": other.packed}), encoding="utf-8")
    with pytest.raises(RigError, match="not the one that was sealed"):
        opened(sealing.fetched(away, path))
    for text in ("", "[]", "{}"):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(RigError, match="holds no key"):
            sealing.fetched(away, path)


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A logbook with a study whose codes are not dealt."""
    path = tmp_path / "s.logbook"
    with Logbook.create(path, title="t") as book:
        kept.enter(book, record({"A": 2, "B": 2}))
    return path


def blinding(path: Path) -> str:
    """What the report says of blindness."""
    told = whole.unsealed(path)
    page = studypage.write(path, None)[0].read_text(encoding="utf-8")
    said = " ".join(studypage.said(told)["blinding"])
    assert all(one in page for one in said.split(". ")[:2])
    return said


def test_with_the_key_in_a_file_the_logbook_opens_with_that_file_only(
    begun: Path, tmp_path: Path
) -> None:
    (tmp_path / "away").mkdir()
    key = tmp_path / "away" / "t.key"
    out = done("study", "deal", begun, "--key-file", key, "--labels-by", "other")
    assert f"Key: in {key}" in out
    labels = tmp_path / "away" / "t.labels.html"
    assert labels.exists() and not begun.with_suffix(".labels.html").exists()
    with Logbook.open(begun, writable=False) as book:
        order = kept.require(book).order
    assert order is not None and order.sealed.packed == "" and order.sealed.held == FILE
    why = ("--reason", "a test")
    assert "add --key-file" in refused("study", "unseal", begun, *why)
    assert "cannot be used" in refused("study", "unseal", begun, *why, "--key-file", begun)
    assert "A1" in done("study", "unseal", begun, *why, "--key-file", key)
    key.unlink()
    assert "A1" in done("study", "unseal", begun), "once open it needs no file"
    assert sorted(whole.unsealed(begun).key or ()) == sorted(order.codes)
    said = blinding(begun)
    assert "not in the logbook but in a file kept elsewhere" in said
    assert "somebody who does not test sticks the labels on" in said


def test_with_a_passphrase_the_logbook_opens_with_it_only(begun: Path) -> None:
    done("study", "deal", begun, "--passphrase", "--labels-by", "alone", typed="elm\nelm\n")
    why = ("--reason", "a test")
    assert "does not open" in refused("study", "unseal", begun, *why, typed="oak\n")
    with Logbook.open(begun, writable=False) as book:
        assert not kept.require(book).opened
    assert "A1" in done("study", "unseal", begun, *why, typed="elm\n")
    said = blinding(begun)
    assert "locked by a passphrase" in said and "folded slips and shuffled blades" in said
    assert "label sheet, which shows the key, still lay beside the logbook" in said


def test_a_key_left_in_the_logbook_is_said_to_have_been_readable(begun: Path) -> None:
    out = done("study", "deal", begun)
    assert "whoever wants can unpack it" in out and "Alone: fold each code in" in out
    begun.with_suffix(".labels.html").unlink()
    done("study", "unseal", begun, "--reason", "a test")
    said = blinding(begun)
    assert "could have opened a copy, without a trace here" in said
    assert "Who stuck the labels on is not on record" in said and "label sheet" not in said


def test_a_key_file_that_cannot_be_written_leaves_the_codes_undealt(begun: Path) -> None:
    nowhere = begun.parent / "nowhere" / "t.key"
    assert "no such folder" in refused("study", "deal", begun, "--key-file", nowhere)
    assert typed_in("study", "deal", begun).exception is None


def test_the_sheet_and_the_command_tell_a_maker_alone_how_to_shuffle(begun: Path) -> None:
    done("study", "deal", begun)
    sheet = begun.with_suffix(".labels.html").read_text(encoding="utf-8")
    assert "Alone?" in sheet and "Shuffle the blades" in sheet
