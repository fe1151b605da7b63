"""From trials to a response's observations; what is left out is listed with why."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from rig.measure.life import Life
from rig.measure.staircase import Staircase
from rig.study.register.record import BladeRecord, ResponseRecord, StudyRecord
from rig.study.register.responses import ResponseKind
from rig.study.register.trials import Trial
from rig.study.statistics.data import LOG, RIGHT, Observation, StudyData

SHARED = "staircase_impact"  # the one procedure whose trial several blades may share
ABSURD = 1e30  # beyond it, in any unit used here, a value is a mistake of a script


@dataclass(frozen=True)
class Excluded:
    """A trial that does not enter the comparison, and every reason why."""

    trial: str
    run_id: int
    reasons: tuple[str, ...]


@dataclass
class Collected:
    """One response: what may be compared, and what may not.

    `lives` are filled for a response known as intervals of cuts, `observations` for all others;
    `runs` are those that count, by blade; `stairs` staircases drop by drop, by group; `sets` what
    each blade counts in, itself or the blades it shared a trial with.
    """

    response: ResponseRecord
    observations: list[Observation] = field(default_factory=list)
    lives: list[Life] = field(default_factory=list)
    excluded: list[Excluded] = field(default_factory=list)
    runs: dict[str, set[int]] = field(default_factory=dict)
    stairs: dict[str, list[Staircase]] = field(default_factory=dict)
    sets: dict[str, str] = field(default_factory=dict)

    def data(self, record: StudyRecord) -> StudyData:
        """As the comparison takes it."""
        return StudyData(
            self.response.response(), record.groups(), tuple(self.observations), record.facts()
        )

    def leave_out(self, trial: Trial, reasons: Sequence[str]) -> None:
        """Keep a trial on the list of those that do not count."""
        self.excluded.append(Excluded(trial.name, trial.run.run_id, tuple(reasons)))


@dataclass(frozen=True)
class Set:
    """The blades of one trial: one, or several of one group that shared it and count as one."""

    name: str
    group: str
    load: str


def collect(
    trials: Sequence[Trial],
    record: StudyRecord,
    key: Mapping[str, str],
    planned: Mapping[str, int] | None = None,
) -> list[Collected]:
    """Every response of the study with the trials that count.

    Args:
        trials: in the order they were made.
        record: the study.
        key: code -> blade.
        planned: procedure -> runs on a blade. So many count, the first ones: a trial made once the
            values are known, or the key is open, cannot mend the answer. Left out, all count.
    """
    told = [Collected(response) for response in record.response]
    for one in told:
        for trial in trials:
            if trial.procedure == one.response.kind.procedure:
                _take(one, trial, record, key, (planned or {}).get(trial.procedure))
    return told


def beside(trials: Sequence[Trial], record: StudyRecord) -> list[Excluded]:
    """Trials of procedures that no response of the study asks for."""
    asked = {response.kind.procedure for response in record.response}
    return [
        Excluded(t.name, t.run.run_id, (f"the study compares nothing of {t.procedure}", *t.words))
        for t in trials
        if t.procedure not in asked
    ]


def _take(
    one: Collected, trial: Trial, record: StudyRecord, key: Mapping[str, str], planned: int | None
) -> None:
    blades = {blade.name: blade for blade in record.blade}
    known = [blades[key[code]] for code in trial.codes if key.get(code) in blades]
    known.sort(key=record.blade.index)  # the same blades are the same set in any order
    reasons = (
        [*trial.words, *_kept(one, trial)]
        or _shared(trial, known)
        or _again(one, known)
        or _beyond(one, trial, known, planned)
    )
    if not reasons:
        unit = _set(known)
        told = _life(one, trial, unit) if one.response.kind.field == "life" else _value(
            one, trial, unit)  # fmt: skip
        reasons = [told] if told else []
    if reasons:
        one.leave_out(trial, reasons)
    else:
        one.runs.setdefault(_set(known).name, set()).add(trial.run.run_id)
        one.sets |= {blade.name: _set(known).name for blade in known}
        if trial.verdict and (stair := trial.verdict.stair):
            one.stairs.setdefault(known[0].group, []).append(_stair(stair))


def _kept(one: Collected, trial: Trial) -> list[str]:
    """The value that a withdrawn trial had: taken back, never taken off the record."""
    if trial.withdrawn is None:
        return []
    had = in_words(trial, one.response.kind)
    return [f"it gave {had}"] if had else []


def in_words(trial: Trial, kind: ResponseKind) -> str:
    """What a trial gave for a response; "" when nothing."""
    if kind.field == "life":
        life = trial.verdict and trial.verdict.life
        if not life:
            return ""
        fail = life["first_fail_cuts"]
        most = "" if fail is None else f", at most {fail:g}"
        return f"{kind.title} more than {life['last_pass_cuts']:g}{most} cuts"
    value, _ = value_of(trial, kind)
    return f"{kind.title} {value:.4g} {kind.unit}" if math.isfinite(value) else ""


def _stair(told: Mapping[str, Any]) -> Staircase:
    return Staircase(
        tuple(told["levels_j"]), tuple(told["failed"]), told["step_j"], tuple(told["blades"])
    )


def _shared(trial: Trial, blades: Sequence[BladeRecord]) -> list[str]:
    """Blades may share a trial only when nothing that is compared differs between them."""
    if len(trial.codes) > 1 and trial.procedure != SHARED:
        return ["it names several blades: only a staircase may be shared"]
    if len({blade.name for blade in blades}) < len(blades):
        return ["it names a blade twice"]
    if len({blade.group for blade in blades}) > 1:
        return ["its blades are of different groups: it speaks for none of them"]
    if len({blade.load for blade in blades}) > 1:
        return ["its blades come from different furnace loads: it speaks for none of them"]
    return []


def _again(one: Collected, blades: Sequence[BladeRecord]) -> list[str]:
    """A blade counts once: alone, or with the same others every time."""
    mine = _set(blades).name if blades else ""
    for blade in blades:
        if one.sets.get(blade.name, mine) != mine:
            return [f"blade {blade.name} counts in an earlier trial, with other blades or alone"]
    return []


def _beyond(
    one: Collected, trial: Trial, blades: Sequence[BladeRecord], planned: int | None
) -> list[str]:
    """Runs beyond the plan do not count; an edge life says so in its own words."""
    runs = one.runs.get(_set(blades).name, set()) if blades else set()
    if planned is None or one.response.kind.field == "life":
        return []
    if len(runs) < planned or trial.run.run_id in runs:
        return []
    first = "the first" if planned == 1 else f"the first {planned}"
    return [f"beyond the plan: {first} that counted of this blade by {trial.procedure} stands"]


def _set(blades: Sequence[BladeRecord]) -> Set:
    return Set(" + ".join(blade.name for blade in blades), blades[0].group, blades[0].load)


def _life(one: Collected, trial: Trial, unit: Set) -> str:
    """Take a life; gives why not, else nothing."""
    told = trial.verdict and trial.verdict.life
    if not told:
        return "no edge life can be stated of it"
    if any(life.specimen == unit.name for life in one.lives):
        return f"blade {unit.name} has its life from an earlier trial; an edge dulls once"
    fail = told["first_fail_cuts"]
    last = math.inf if fail is None else fail
    one.lives.append(Life(unit.name, unit.group, told["last_pass_cuts"], last))
    return ""


def _value(one: Collected, trial: Trial, unit: Set) -> str:
    """Take a value; gives why not, else nothing."""
    kind = one.response.kind
    value, u = value_of(trial, kind)
    if abs(value) > ABSURD or abs(u) > ABSURD or 0 < abs(value) < 1 / ABSURD:
        return f"{kind.title} is {value:g} {kind.unit}: nothing measures that"
    if not (math.isfinite(value) and math.isfinite(u)):
        return f"no {kind.title} can be stated of it"
    if kind.scale == LOG and value <= 0:
        return f"{kind.title} is {value:g} {kind.unit}: no ratio can be made of it"
    censored = trial.verdict.censored if trial.verdict else ""
    if censored not in ("", RIGHT):
        return f"it is only known to lie below {value:g} {kind.unit}: such a bound is not compared"
    if censored and not kind.censored:
        return f"only a bound of its {kind.title} is known"
    one.observations.append(
        Observation(unit.group, unit.name, value, unit.load, u, censored,
                    (f"run {trial.run.run_id}: {trial.name}",))
    )  # fmt: skip
    return ""


def value_of(trial: Trial, kind: ResponseKind) -> tuple[float, float]:
    """Value and standard uncertainty in the response's unit; nan when the trial has none."""
    if kind.field:
        damage = (trial.verdict and trial.verdict.damage) or {}
        value, u = damage.get(kind.field.removeprefix("damage_")), damage.get("u_m", 0.0)
    else:
        found = trial.measurands.get(kind.measurand) or {}
        value, u = found.get("value"), found.get("u", 0.0)
    if value is None:
        return math.nan, 0.0
    return kind.factor * float(value), kind.factor * float(u)
