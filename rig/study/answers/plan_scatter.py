"""Which scatter a plan goes by: a pilot's, the study file's, or the usual one; with its source."""

from dataclasses import replace

from rig.study.answers.pilot import Pilot
from rig.study.register.record import ResponseRecord
from rig.study.statistics.data import LOG
from rig.study.statistics.life_scatter import USUAL_PROBES
from rig.study.statistics.phrases import many, number
from rig.study.statistics.plan import Scatter

LIFE = "life"


def scatter_of(response: ResponseRecord, pilot: Pilot | None) -> tuple[Scatter, str]:
    """Scatter of blades and trials, and where it comes from."""
    if pilot is not None and pilot.between > 0:
        text = (
            f"scatter {_amount(response, pilot.between)} on {many(pilot.blades, 'blade')} of the "
            f"pilot; planned with {_amount(response, pilot.upper)}, which the true scatter exceeds "
            "in one of five such pilots"
        )
        return Scatter(pilot.upper, pilot.within), text
    if response.scatter is not None:
        text = f"scatter {_amount(response, response.scatter)} as the study states"
        return _blurred(response, response.scatter), text
    usual = response.kind.usual
    return _blurred(response, usual), (
        f"scatter {_amount(response, usual)} taken as usual (nobody's measurement: a pilot of "
        "three blades is better)"
    )


def _blurred(response: ResponseRecord, between: float) -> Scatter:
    """With what the usual probes add to lives; a pilot's scatter holds that already."""
    return Scatter(between, response.within, USUAL_PROBES if is_life(response) else 1.0)


def is_life(response: ResponseRecord) -> bool:
    """Whether it is a life known between two probes."""
    return response.kind.field == LIFE


def with_loads(
    response: ResponseRecord, scatter: Scatter, pilot: Pilot | None
) -> tuple[Scatter, str]:
    """The same with the scatter of furnace loads, and where that comes from."""
    if pilot is not None and pilot.loads_upper is not None:
        text = (
            f"furnace loads scatter {_amount(response, pilot.loads or 0.0)} in the pilot; planned "
            f"with {_amount(response, pilot.loads_upper)}, the limit of four pilots in five"
        )
        return replace(scatter, loads=pilot.loads_upper), text
    if response.load_scatter is not None:
        text = f"furnace loads scatter {_amount(response, response.load_scatter)} as stated"
        return replace(scatter, loads=response.load_scatter), text
    text = (
        f"furnace loads are taken to scatter as blades do, {_amount(response, scatter.between)} "
        "(nobody's measurement: state load_scatter, or plan from a pilot of two loads or more)"
    )
    return replace(scatter, loads=scatter.between), text


def _amount(response: ResponseRecord, value: float) -> str:
    if response.response().scale == LOG:
        return f"{100 * value:.2g} %"
    return f"{number(value)} {response.kind.unit}"
