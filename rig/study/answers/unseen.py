"""A reading of nothing: 0 is what eye and caliper saw, and they see only down to some size."""

from dataclasses import replace

from rig.study.statistics.data import Observation, StudyData
from rig.study.statistics.phrases import number


def with_u(data: StudyData) -> tuple[StudyData, str]:
    """Readings of 0 with the largest standard uncertainty of the response's other readings.

    Only for those without one of their own: the guide now asks whoever enters "none" how small a
    damage would have been seen, but older records hold no uncertainty; the instrument that would
    have shown something is then that of the other readings. Gives the data and what to say of it,
    "" when there is nothing to say.
    """
    zero = {id(seen) for seen in data.observations if seen.value == 0 == seen.u}
    if not zero:
        return data, ""
    largest = max(seen.u for seen in data.observations)
    blades = len({seen.blade for seen in data.observations if id(seen) in zero})
    unit = data.response.unit
    start = f"Nothing was seen on {blades} blade{'s' if blades > 1 else ''} (0 {unit})"
    if largest == 0:
        return data, f"{start}; how little would have been seen is not on record."

    def filled(seen: Observation) -> Observation:
        return replace(seen, u=largest) if id(seen) in zero else seen

    return replace(data, observations=tuple(map(filled, data.observations))), (
        f"{start}. The ± shown there is the largest of the other readings "
        f"({number(2 * largest)} {unit}, k = 2): less than that may be there unseen."
    )
