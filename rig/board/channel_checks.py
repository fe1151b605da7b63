"""Does a board stream its channels as the wire says? Part of `rig.board.conformance`."""

from rig.board import wire
from rig.board.link import Link
from rig.board.samples import Happening, capture
from rig.board.wire import Event, Kind, LoadFault, Op, Reason

_JITTER_TICKS = 20  # a block's time is read in an interrupt, which others may hold up
_ADC_TICKS = 200  # a conversion of a free pin may hold up the first of a sum
_LARGEST_SUM = wire.ANGLE_SUM * 1023
_CONVERSION_RATES_HZ = (80, 10)  # of the bridge converter as it may be strapped; 2 % off at most


def streams_height(link: Link) -> str:
    """The height channel streams 1,000 samples a second without a gap."""
    link.stream(Kind.HEIGHT, True)
    link.wait(0.1)
    link.start_record()
    link.wait(1.0)
    seen = capture(link.stop_record())
    steps = set((seen[Kind.HEIGHT].ticks[1:] - seen[Kind.HEIGHT].ticks[:-1]).tolist())
    period = wire.CHANNELS[Kind.HEIGHT].period_ticks
    if seen.gaps or seen.damaged:
        return f"{len(seen.gaps)} gaps and {seen.damaged} damaged frames"
    if any(abs(step - period) > _JITTER_TICKS for step in steps):
        return f"samples are {sorted(steps)[:4]} ticks apart"
    count = len(seen[Kind.HEIGHT].ticks)
    return "" if 950 <= count <= 1050 else f"{count} samples in a second"


def stops_streaming(link: Link) -> str:
    """The height channel stops when asked."""
    link.stream(Kind.HEIGHT, False)
    link.wait(0.1)
    link.start_record()
    link.wait(0.3)
    count = len(capture(link.stop_record())[Kind.HEIGHT].ticks)
    return f"{count} samples came after the stop" if count else ""


def streams_angle(link: Link) -> str:
    """The angle channel streams 125 sums a second without a gap."""
    link.stream(Kind.ANGLE, True)
    link.wait(0.1)
    link.start_record()
    link.wait(1.0)
    seen = capture(link.stop_record())
    link.stream(Kind.ANGLE, False)
    steps = (seen[Kind.ANGLE].ticks[1:] - seen[Kind.ANGLE].ticks[:-1]).tolist()
    period = wire.CHANNELS[Kind.ANGLE].period_ticks
    if seen.gaps or seen.damaged:
        return f"{len(seen.gaps)} gaps and {seen.damaged} damaged frames"
    if any(abs(step - period) > _ADC_TICKS for step in steps):
        return f"sums are {sorted(set(steps))[:4]} ticks apart"
    if any(value > _LARGEST_SUM for value in seen[Kind.ANGLE].values.tolist()):
        return f"a sum is {max(seen[Kind.ANGLE].values)}"
    count = len(steps) + 1
    return "" if 115 <= count <= 135 else f"{count} sums in a second"


def streams_load(link: Link) -> str:
    """The load channel gives conversions by the converter's clock, or says why there are none."""
    told: list[Happening] = []
    link.listeners.append(told.append)
    link.stream(Kind.LOAD, True)
    link.wait(0.1)
    link.start_record()
    link.wait(1.0)
    seen = capture(link.stop_record())
    link.stream(Kind.LOAD, False)
    link.listeners.remove(told.append)
    steps = (seen[Kind.LOAD].ticks[1:] - seen[Kind.LOAD].ticks[:-1]).tolist()
    if seen.gaps or seen.damaged:
        return f"{len(seen.gaps)} gaps and {seen.damaged} damaged frames"
    if not len(seen[Kind.LOAD].ticks):
        faults = [e for e in told if e.code is Event.LOAD and e.value != LoadFault.NONE]
        return "" if faults else "neither a conversion came nor a fault"
    nominal = (wire.TICK_HZ / rate for rate in _CONVERSION_RATES_HZ)
    if any(all(abs(step / period - 1) < 0.06 for step in steps) for period in nominal):
        return ""
    return f"conversions are {min(steps)} to {max(steps)} ticks apart" if steps else "only one came"


def stops_load_and_angle(link: Link) -> str:
    """The channels of load and angle stop when asked."""
    link.wait(0.1)
    link.start_record()
    link.wait(0.3)
    seen = capture(link.stop_record())
    count = len(seen[Kind.LOAD].ticks) + len(seen[Kind.ANGLE].ticks)
    return f"{count} samples came after the stop" if count else ""


def refuses_an_unknown_channel(link: Link) -> str:
    """Asking for a channel that is none is answered BAD_COMMAND."""
    reply = link.command(Op.STREAM, channel=Kind.STATUS, on=1)
    return "" if reply.reason is Reason.BAD_COMMAND else f"it answered {reply.reason.name}"
