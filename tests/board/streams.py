"""Byte streams as a board would send them, made from the wire's description alone."""

from rig.board import wire
from rig.board.wire import Kind

MS = wire.TICK_HZ // 1000
PREFIX = {"illegal_edges": 0, "missed_samples": 0}


def packed(kind: Kind, **given: int) -> bytes:
    """A payload; fields not given are zero."""
    fields = wire.PAYLOADS[kind]
    return wire.pack(fields, {field.name: given.get(field.name, 0) for field in fields})


def hello(seq: int, time: int, boot: int) -> bytes:
    """A HELLO frame."""
    told = {"wire": wire.WIRE_VERSION, "description": wire.description(), "boot": boot}
    return wire.frame(Kind.HELLO, seq, time, packed(Kind.HELLO, **told))


def status(seq: int, time: int, boot: int = 1) -> bytes:
    """A STATUS frame."""
    return wire.frame(Kind.STATUS, seq, time, packed(Kind.STATUS, boot=boot))


def event(seq: int, time: int, code: int = 1, value: int = 1) -> bytes:
    """An EVENT frame."""
    return wire.frame(Kind.EVENT, seq, time, packed(Kind.EVENT, code=code, value=value))


def height(seq: int, time: int, samples: list[int], **prefix: int) -> bytes:
    """A HEIGHT frame."""
    return wire.block(Kind.HEIGHT, seq, time, PREFIX | prefix, samples)


def session(blocks: int) -> list[bytes]:
    """HELLO, then blocks of a rising count with a STATUS after every third and an event or two."""
    parts = [hello(0, 0, 1)]
    for i in range(blocks):
        start = (10 * i + 1) * MS
        parts.append(height(len(parts), start, [40 * i + 3 * j - 100 for j in range(10)]))
        if i % 3 == 2:
            parts.append(status(len(parts), start + 10 * MS))
        if i % 5 == 4:
            parts.append(event(len(parts), start + 7 * MS))
    return parts


def sent_samples(parts: list[bytes]) -> set[tuple[int, int]]:
    """(ticks, count) of every height sample in whole frames, by a plain loop."""
    channel = wire.CHANNELS[Kind.HEIGHT]
    found = set()
    for part in parts:
        if part[2] != Kind.HEIGHT:
            continue
        head = wire.unpack(wire.HEAD, part[2 : 2 + wire.width(wire.HEAD)])
        at = 2 + wire.width(wire.HEAD) + wire.width(channel.prefix)
        body = part[at : -1 - wire.CRC.septets]
        size = channel.sample.septets
        for i in range(len(body) // size):
            count = wire.number(body[i * size : (i + 1) * size], channel.sample)
            found.add((head["time"] + i * channel.period_ticks, count))
    return found
