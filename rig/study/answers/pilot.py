"""Scatter of blades alike, and of trials on one blade, from an earlier logbook."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rig.errors import RigError
from rig.guide.verdict import verdicts
from rig.logbook.store import Logbook
from rig.study.register import kept
from rig.study.register.collect import Collected, collect
from rig.study.register.record import BladeRecord, GroupRecord, ResponseRecord, StudyRecord
from rig.study.register.trials import INDICATION_ONLY, Trial, trials
from rig.study.statistics.anova import Component, Components, components
from rig.study.statistics.data import LOG, Group, StudyData
from rig.study.statistics.lives import as_values
from rig.study.statistics.power import upper_limit
from rig.study.statistics.units import layout

ALL = "pilot"


@dataclass(frozen=True)
class Pilot:
    """What a pilot says of one response.

    Attributes:
        between, within: scatter of blades alike and of trials on one: a share on the log scale,
            else in the response's unit. `within` is 0 when no blade had two trials.
        upper: limit below which the true `between` lies in four of five pilots.
        u: standard uncertainty of measurement, in the same terms.
        blades, trials: that it rests on.
        loads, loads_upper: scatter of furnace loads of one recipe, and its limit, in the same
            terms; None when no group had two loads.
    """

    between: float
    within: float
    upper: float
    u: float
    blades: int
    trials: int
    loads: float | None = None
    loads_upper: float | None = None


def scatters(path: Path, responses: Sequence[ResponseRecord]) -> dict[str, Pilot]:
    """By response name; those of which the logbook has fewer than two blades are left out.

    The blades of an unsealed study are pooled within its groups; without a study all blades of
    the logbook count as alike.

    Raises:
        RigError: it cannot be read, its study is sealed, or it has no trial of these responses.
    """
    with Logbook.open(path, writable=False) as book:
        wanted = {response.kind.procedure for response in responses}
        study = kept.found(book)
        every = {
            code
            for _, one in verdicts(book)
            if one.specimen
            for code in kept.codes_of(one.specimen)
        }
        made = [_for_scatter(one) for one in trials(book, every, {}) if one.procedure in wanted]
    record, key = _blades(study, every, responses, path)
    told = {
        one.response.name: pilot
        for one in collect(made, record, key)
        if (pilot := _pilot(one, record)) is not None
    }
    if not told:
        raise RigError(
            "holds no two blades of any response of this study",
            where=str(path),
            remedy="test three blades of one group with the same procedures first",
        )
    return told


def _for_scatter(trial: Trial) -> Trial:
    """A lacking certificate moves all values alike: it does not spoil their scatter."""
    kept_against = tuple(r for r in trial.against if r.name != INDICATION_ONLY)
    return replace(trial, against=kept_against)


def _blades(
    study: kept.Kept | None, every: set[str], responses: Sequence[ResponseRecord], path: Path
) -> tuple[StudyRecord, dict[str, str]]:
    """The pilot as a study of the wanted responses, and code -> blade."""
    if study is not None and study.order is not None:
        if not study.opened:
            raise RigError(
                "the key of its codes is still sealed: its groups are not known",
                where=str(path),
                remedy=f"bladerig study unseal {path}, or another pilot",
            )
        return study.record.model_copy(update={"response": tuple(responses)}), study.key()
    blades = tuple(BladeRecord(name=code, group=ALL) for code in sorted(every))
    record = StudyRecord(
        title=ALL, question=ALL, primary=responses[0].name, group=(GroupRecord(name=ALL),),
        response=tuple(responses), blade=blades,
    )  # fmt: skip
    return record, {code: code for code in every}


def _pilot(one: Collected, record: StudyRecord) -> Pilot | None:
    loads = {blade.name: blade.load for blade in record.blade}
    seen = as_values(one.lives, loads) if one.lives else one.observations
    whole = tuple(x for x in seen if not x.censored)
    groups = tuple(Group(group.name) for group in record.group)
    if not whole:
        return None
    data = StudyData(one.response.response(), groups, whole)
    means = layout(data).blades
    told = components(means)
    blade = _component(told, "blade")
    if blade is None or blade.sd is None:
        return None
    trial = _component(told, "trial")
    within = trial.sd if trial is not None and trial.sd is not None else 0.0
    outward = _cv if data.response.scale == LOG else float
    load = _component(told, "furnace load")
    of_loads: tuple[float | None, float | None] = (None, None)
    if load is not None and load.sd is not None:
        of_loads = outward(load.sd), outward(_limit(load))
    return Pilot(
        outward(blade.sd), outward(within), outward(_limit(blade)), outward(told.u_measured),
        len(means), len(whole), *of_loads,
    )  # fmt: skip


def _limit(component: Component) -> float:
    return component.at_most(upper_limit(component.dof)) or 0.0


def _component(told: Components, level: str) -> Component | None:
    return next((c for c in told.levels if c.level == level), None)


def _cv(sd: float) -> float:
    """Coefficient of variation of a log-normal value: inverse of `power.log_scatter`."""
    return math.sqrt(math.expm1(min(sd * sd, 100.0)))  # beyond, nothing can be planned anyway
