"""What happened in a drop, from counts alone: release, strikes, bounces, rest."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]
Times = NDArray[np.float64]

FALLEN_M = 0.010  # the fall counts from here on: the latch and the wire have settled
GUARD_M = 0.001  # nearer to contact than this a sample may already be in it
BOUNCE_M = 0.002  # a rise above contact smaller than this is not told from settling
STILL_S = 0.060  # at an apex the carriage stays within two counts for 20 ms
STILL_COUNTS = 2


@dataclass(frozen=True)
class Contact:
    """A stay near the specimen: indices of its first and last sample (inclusive)."""

    first: int
    last: int


@dataclass(frozen=True)
class Flight:
    """Indices into the record.

    Attributes:
        release_count: height before the fall, counts (median).
        fall: first sample at least FALLEN_M below release.
        contacts: strikes in order; the last may be the final rest.
        end: one past the last sample that belongs to the drop: STILL_S into the standstill, or
            the end of the record.
        still: the carriage came to a standstill before the record ended.
        rest_count: median height at the standstill, counts; None without one.
    """

    release_count: float
    fall: int
    contacts: tuple[Contact, ...]
    end: int
    still: bool
    rest_count: float | None


def split(time_s: Times, count: Counts, contact: float, scale_m: float) -> Flight | None:
    """Cut a record into its parts; None when nothing fell.

    Args:
        time_s: sample times, shape (n,).
        count: heights, shape (n,).
        contact: striker resting on the specimen, counts.
        scale_m: metre a count.
    """
    release = _release(time_s, count, FALLEN_M / scale_m)
    if release is None:
        return None
    held, fall = release
    near = contact + GUARD_M / scale_m
    below = np.flatnonzero(count[fall:] <= near)
    if len(below) == 0:
        end, rest = _standstill(time_s, count, fall)
        return Flight(held, fall, (), end, rest is not None, rest)
    struck = fall + int(below[0])
    end, rest = _standstill(time_s, count, struck)
    contacts = _contacts(count[:end], struck, near, contact + BOUNCE_M / scale_m)
    return Flight(held, fall, contacts, end, rest is not None, rest)


def _release(time_s: Times, count: Counts, fallen: float) -> tuple[float, int] | None:
    """Height before the fall, and the first sample after it is under way."""
    highest = np.maximum.accumulate(count)
    down = np.flatnonzero(highest - count >= fallen)
    if len(down) == 0:
        return None
    fall = int(down[0])
    top = highest[fall]
    # Standing before the fall: samples within two counts of the top.
    standing = count[:fall][count[:fall] >= top - STILL_COUNTS]
    return float(np.median(standing)), fall


def _standstill(time_s: Times, count: Counts, start: int) -> tuple[int, float | None]:
    """Where the carriage first stands still for STILL_S after `start`."""
    stop = np.searchsorted(time_s, time_s + STILL_S, side="right")
    for i in range(start, len(count)):
        j = int(stop[i])
        if time_s[-1] - time_s[i] < STILL_S:
            break
        stay = count[i:j]
        if stay.max() - stay.min() <= STILL_COUNTS:
            return j, float(np.median(stay))
    return len(count), None


def _contacts(count: Counts, struck: int, near: float, bounce: float) -> tuple[Contact, ...]:
    """Stays at or below `near`; a rise that does not reach `bounce` does not end one."""
    contacts: list[Contact] = []
    first = last = struck
    risen = False
    for i in range(struck, len(count)):
        if count[i] > bounce:
            risen = True
        elif count[i] <= near:
            if risen:
                contacts.append(Contact(first, last))
                first, risen = i, False
            last = i
    contacts.append(Contact(first, last))
    return tuple(contacts)
