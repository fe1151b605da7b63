"""Builds what the emulator needs: the firmware image, and the C layer on libsimavr."""

import functools
import hashlib
import os
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
CACHE = HERE / ".build"
SOURCES = ("shim.c", "pins.c", "serial.c", "adc.c", "converter.c", "probes.c")
COMPILE = ("cc", "-O2", "-shared", "-fPIC", "-Wall", "-Wextra", "-isystem", "/usr/include/simavr")
AVR_COMPILE = ("avr-gcc", "-mmcu=atmega328p", "-DF_CPU=16000000UL", "-Os", "-std=gnu11", "-Wall")
BUILD_LIMIT_S = 60.0


class BuildError(RuntimeError):
    """A tool the emulator needs failed or is missing."""


def _run(command: Sequence[str | Path], remedy: str) -> None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError as error:
        raise BuildError(f"{command[0]} is not installed; {remedy}") from error
    if done.returncode:
        raise BuildError(f"{command[0]} failed; {remedy}\n{done.stdout}{done.stderr}")


@contextmanager
def _alone() -> Iterator[None]:
    """One builder at a time: the tests run on all cores, and a half-built file reads as any.

    A lock left by a killed builder is taken over after `BUILD_LIMIT_S`.
    """
    CACHE.mkdir(exist_ok=True)
    lock, since = CACHE / "building", time.monotonic()
    while True:
        try:
            lock.mkdir()
            break
        except FileExistsError:
            if time.monotonic() - since > BUILD_LIMIT_S:
                break
            time.sleep(0.05)
    try:
        yield
    finally:
        with suppress(FileNotFoundError):
            lock.rmdir()


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


def _cached(name: str, content: bytes, make: Sequence[str | Path], remedy: str) -> Path:
    """The file that `make -o FILE` writes; kept under its name and the hash of `content`."""
    stem, dot, suffix = name.partition(".")
    name = f"{stem}-{_hash(content)}{dot}{suffix}"
    target = CACHE / name
    if not target.exists():
        CACHE.mkdir(exist_ok=True)
        scratch = CACHE / f"{os.getpid()}-{name}"
        _run([*make, "-o", scratch], remedy)
        scratch.replace(target)  # several test runs may build at once
    return target


@functools.cache
def build_shim() -> Path:
    """The shared library of the C layer."""
    sources = [HERE / name for name in SOURCES]
    content = b"".join(path.read_bytes() for path in [HERE / "shim.h", *sources])
    make: list[str | Path] = [*COMPILE, *sources, "-lsimavr", "-lm"]
    return _cached("shim.so", content, make, "install libsimavr-dev and a C compiler")


def build_program(source: str) -> bytes:
    """A small C program for the chip, compiled; returns its flash image."""
    remedy = "install gcc-avr, avr-libc and binutils-avr"
    text = source.encode()
    CACHE.mkdir(exist_ok=True)
    path = CACHE / f"program-{_hash(text)}.c"
    path.write_bytes(text)
    elf = _cached("program.elf", text, [*AVR_COMPILE, path], remedy)
    image = elf.with_suffix(".hex")
    with _alone():
        if image.exists():
            return read_hex(image.read_text())
        _run(["avr-objcopy", "-O", "ihex", "-j", ".text", "-j", ".data", elf, image], remedy)
    return read_hex(image.read_text())


@functools.cache
def build_image() -> Path:
    """The firmware image `bladerig.hex`, made up to date once a process."""
    with _alone():
        _run(["make", "-C", ROOT / "firmware"], "install gcc-avr, avr-libc and binutils-avr")
    return ROOT / "firmware" / "build" / "bladerig.hex"


def read_hex(text: str) -> bytes:
    """The flash image that Intel hex `text` describes, from address 0 on; gaps read 0xFF.

    Raises:
        ValueError: a damaged line, or no end record.
    """
    image = bytearray()
    base = 0
    for line in text.split():
        record = bytes.fromhex(line[1:])
        if line[0] != ":" or len(record) != record[0] + 5 or sum(record) & 0xFF:
            raise ValueError(f"damaged Intel hex line {line!r}")
        data, kind = record[4:-1], record[3]
        if kind == 1:
            return bytes(image)
        if kind in (2, 4):
            base = int.from_bytes(data) << (4 if kind == 2 else 16)
        elif kind == 0:
            at = base + int.from_bytes(record[1:3])
            image.extend(b"\xff" * (at + len(data) - len(image)))
            image[at : at + len(data)] = data
    raise ValueError("Intel hex without an end record")
