"""Trials that were not made alike: other settings, another bench, another medium or calibration."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from rig.bench.unlike import changed
from rig.guide import script
from rig.guide.kinds import AIM_OF, ON_SPECIMEN, kind_of
from rig.logbook.records import Run


@dataclass(frozen=True)
class Unlike:
    """One condition in which trials of a response differ.

    Attributes:
        what: the condition.
        most: as most trials have it.
        others: name of each other trial, with its run -> how that one has it.
    """

    what: str
    most: str
    others: Mapping[str, str]

    @property
    def sentence(self) -> str:
        """For people."""
        told = "; ".join(f"{trial}: {value}" for trial, value in self.others.items())
        return f"Not made alike: {self.what} is {self.most} in most trials, but {told}."


def of_settings(run: Run, fixed: Mapping[str, str]) -> list[str]:
    """In which settings a run differs from those that were fixed, in words."""
    asked = settings(run)
    return [
        apart(name, asked[name], wanted)
        for name, wanted in fixed.items()
        if name in asked and asked[name] != wanted
    ]


def apart(name: str, asked: str, wanted: str) -> str:
    """One setting that is not the study's, in words."""
    study = f"fixes {wanted}" if wanted else "leaves it out"
    return f"{name} {asked or 'left out'} where the study {study}"


def of_bench(began: Mapping[str, Any], now: Mapping[str, Any], procedure: str) -> list[str]:
    """Keys of two benches that differ and matter to a procedure."""
    kind = AIM_OF.get(procedure)
    sections = () if kind is None else ON_SPECIMEN[kind].bench
    return [key for key in changed(began, now) if key.startswith(sections)]


def of_calibration(began: Mapping[str, Any], now: Mapping[str, Any], procedure: str) -> list[str]:
    """Channels of two benches whose certificates are not the same one; none where one has none.

    A bench without a certificate measures nothing that counts, so there is nothing to be unlike.
    """
    pairs = {
        channel: (_made(began, channel), _made(now, channel)) for channel in _channels(procedure)
    }
    return [channel for channel, (one, other) in pairs.items() if one and other and one != other]


def _channels(procedure: str) -> tuple[str, ...]:
    """Channels that a procedure's numbers rest on."""
    kind = AIM_OF.get(procedure)
    return () if kind is None else tuple(kind_of(kind).channels)


def _made(bench: Mapping[str, Any], channel: str) -> str:
    """When the certificate of a channel was made; "" without one."""
    held = bench.get("certificates") or {}
    return str(((held.get(channel) or {}).get("certificate") or {}).get("made") or "")


def of_rig(began: Run, bench: Mapping[str, Any], procedure: str) -> list[str]:
    """How a bench with its certificates is not that of a run, in words."""
    first = began.versions.get("bench") or {}
    told = []
    if keys := of_bench(first, bench, procedure):
        told.append(f"another bench than in run {began.run_id} ({', '.join(keys)} differ)")
    if channels := of_calibration(first, bench, procedure):
        told.append(f"another calibration of {' and '.join(channels)} than in run {began.run_id}")
    return told


def settings(run: Run) -> dict[str, str]:
    """What a run was asked for that changes what is measured, as it was shown then."""
    asked = run.versions.get("asked") or {}
    return {name: str(value) for name, value in asked.items() if name not in _aside(run.procedure)}


@cache
def _aside(procedure: str) -> frozenset[str]:
    return frozenset(one.name for one in script.load(procedure).parameters if not one.measures)


def conditions(run: Run, medium: Mapping[str, Any] | None = None) -> dict[str, str]:
    """All that should be alike in the trials of one response, by name.

    Args:
        run: that left the trial.
        medium: what it cut, as it put it down.
    """
    bench = run.versions.get("bench") or {}
    told = settings(run)
    for channel in _channels(run.procedure):
        made = _made(bench, channel)
        told[f"calibration of {channel}"] = f"of {made[:16].replace('T', ' ')}" if made else "none"
    for name in ("lot", "thickness_m", "moisture"):
        if medium and medium.get(name) is not None:
            told[f"medium, {name.removesuffix('_m')}"] = _shown(name, medium[name])
    return told


def _shown(name: str, value: Any) -> str:
    return f"{1e3 * value:.3g} mm" if name.endswith("_m") else str(value)


def differing(made: Sequence[tuple[str, Run, Mapping[str, str]]]) -> list[Unlike]:
    """Conditions in which trials differ: (trial, its run, its conditions) of each that counts."""
    told: list[Unlike] = []
    names = dict.fromkeys(name for _, _, conditions in made for name in conditions)
    for name in names:
        values = [(trial, run, own[name]) for trial, run, own in made if name in own]
        told += _apart(name, values)
    return [*told, *_benches(made)]


def _apart(name: str, values: Sequence[tuple[str, Run, str]]) -> Iterator[Unlike]:
    counts = Counter(value for _, _, value in values)
    if len(counts) < 2:
        return
    most = counts.most_common(1)[0][0]  # of as many, the first met
    others = {f"{trial} (run {run.run_id})": value for trial, run, value in values if value != most}
    yield Unlike(name, most, others)


def _benches(made: Sequence[tuple[str, Run, Mapping[str, str]]]) -> Iterator[Unlike]:
    """Keys of bench.toml, against the first trial's."""
    if not made:
        return
    _, first, _ = made[0]
    began = first.versions.get("bench") or {}
    others = {}
    for trial, run, _ in made[1:]:
        if keys := of_bench(began, run.versions.get("bench") or {}, run.procedure):
            others[f"{trial} (run {run.run_id})"] = ", ".join(keys)
    if others:
        yield Unlike("bench.toml", f"that of run {first.run_id}", others)
