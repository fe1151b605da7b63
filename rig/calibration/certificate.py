"""A calibration certificate: the scale of a channel, where and until when it holds, and why not.

A calibration's result holds everything but the date; the date is that of the journal row it is
noted in, so nobody types it.
"""

import calendar
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from rig.bench import Bench
from rig.measure.budget import Reason
from rig.measure.scales import Scale

NOTE = "certificate"
"""Kind of the journal rows that hold certificates."""
CHANNELS = ("load", "angle", "height")


@dataclass(frozen=True)
class Certificate:
    """One channel's calibration.

    Attributes:
        channel: "load", "angle" or "height".
        bench, serial: what it belongs to; `serial` is the load cell's ("" for other channels).
        operator: who made it, as entered.
        made, expires: UTC.
        curve: the scale as plain data (`rig.measure.scales`).
        within: expanded uncertainty at the low end as a share of the value.
        sentence: range and uncertainty in plain words.
        held: bench figures that must still be the same, by name.
        result_id, run_id, logbook: where readings and budget stand.
        device: "port" for a real bench, "virtual" for practice.
    """

    channel: str
    bench: str
    serial: str
    operator: str
    made: datetime
    expires: datetime
    curve: Mapping[str, Any]
    within: float
    sentence: str
    held: Mapping[str, float]
    result_id: int
    run_id: int
    logbook: str
    device: str

    def scale(self) -> Scale:
        """What a measurement takes; its source names this certificate."""
        return Scale.from_dict({**self.curve, "source": self.name})

    @property
    def name(self) -> str:
        """How budgets call it."""
        where = f"{self.logbook}, run {self.run_id}"
        return f"{self.channel} certificate of {self.made:%Y-%m-%d} ({where})"

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        told = {key: getattr(self, key) for key in self.__dataclass_fields__}
        dates = {key: told[key].isoformat() for key in ("made", "expires")}
        return {**told, **dates, "curve": dict(self.curve), "held": dict(self.held)}


def from_dict(data: Mapping[str, Any]) -> Certificate:
    """The certificate that `to_dict` wrote."""
    dates = {key: datetime.fromisoformat(data[key]) for key in ("made", "expires")}
    return Certificate(**{**data, **dates})


def issued(
    note: Mapping[str, Any], at: datetime, run_id: int, logbook: str, device: str
) -> Certificate:
    """The certificate of a journal row.

    Args:
        note: the row's body: a calibration's `certificate` with `result_id`.
        at: when the row was written.
        run_id, logbook: where it stands.
        device: what that run was made on.
    """
    made = at.astimezone(UTC)
    given = {key: value for key, value in note.items() if key != "months"}
    expires = later(made, note["months"])
    return Certificate(
        **given, made=made, expires=expires, run_id=run_id, logbook=logbook, device=device
    )


def later(at: datetime, months: int) -> datetime:
    """The same day so many months on, or the last day of that month."""
    count = at.year * 12 + at.month - 1 + months
    year, month = divmod(count, 12)
    day = min(at.day, calendar.monthrange(year, month + 1)[1])
    return at.replace(year=year, month=month + 1, day=day)


def newest(found: Iterable[Certificate], bench: Bench) -> dict[str, Certificate]:
    """For each channel the newest that belongs to this bench and cell, else the newest at all.

    One that does not belong is still given, so that `standing` can say what is wrong with it.
    """
    chosen: dict[str, Certificate] = {}
    for one in found:
        best = chosen.get(one.channel)
        if best is None or _rank(one, bench) >= _rank(best, bench):
            chosen[one.channel] = one
    return chosen


def _rank(one: Certificate, bench: Bench) -> tuple[bool, datetime]:
    return not [*_foreign(one, bench)], one.made


def standing(
    certificate: Certificate | None,
    channel: str,
    bench: Bench,
    now: datetime,
    size: float | None = None,
) -> list[Reason]:
    """Why a channel's readings are an indication only; empty when its certificate holds.

    Args:
        certificate: the channel's, or None.
        channel: "load", "angle" or "height".
        bench: the bench as it is now.
        now: UTC.
        size: of the value that is asked for, without sign; None asks for no value.
    """
    if certificate is None:
        remedy = f"bladerig calibrate {channel}"
        return [Reason("no_certificate", f"there is no {channel} certificate; make one: {remedy}")]
    found = [*_foreign(certificate, bench), *_dated(certificate, now)]
    if size is not None:
        found += _sized(certificate, size)
    return found


def _foreign(one: Certificate, bench: Bench) -> Iterable[Reason]:
    """Made on another bench, with another cell or lever."""
    if one.bench != bench.name:
        text = f"the {one.channel} certificate is of the bench '{one.bench}', not '{bench.name}'"
        yield Reason("other_bench", text)
    if one.channel == "load" and one.serial != bench.cell.serial:
        text = f"the load certificate is of '{one.serial}', the bench has '{bench.cell.serial}'"
        yield Reason("other_cell", text)
    arm_m = one.held.get("arm_m")
    if arm_m is not None and abs(arm_m - bench.pry.arm.length_m) > bench.pry.arm.u_length_m:
        text = (
            f"the {one.channel} certificate was made with an arm of {arm_m * 1e3:g} mm, the bench "
            f"states {bench.pry.arm.length_m * 1e3:g} mm"
        )
        yield Reason("other_arm", text, arm_m, bench.pry.arm.length_m, "m")


def _dated(one: Certificate, now: datetime) -> Iterable[Reason]:
    if now >= one.expires:
        text = f"the {one.channel} certificate expired on {one.expires:%Y-%m-%d}"
        yield Reason("expired", text)
    elif now < one.made:
        text = (
            f"the {one.channel} certificate is dated {one.made:%Y-%m-%d %H:%M} UTC, later than now"
        )
        yield Reason("not_yet", text)


def _sized(one: Certificate, size: float) -> list[Reason]:
    low, high, unit = (one.curve[key] for key in ("low", "high", "unit"))
    if low <= size <= high:
        return []
    text = (
        f"{size:.4g} {unit} is outside the {one.channel} certificate, good from {low:.3g} to "
        f"{high:.3g} {unit}"
    )
    return [Reason("out_of_range", text, size, low if size < low else high, unit)]
