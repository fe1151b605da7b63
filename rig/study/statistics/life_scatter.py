"""How much lives scatter, and what stays hidden behind equal ones."""

import math

from rig.measure.budget import Reason
from rig.measure.life import Life, log_sd_of, still_possible

# Scatter of lives that is taken where a study has none of its own and states none: nobody's
# measurement, and rather too wide than too narrow. It counts as known from ten blades.
USUAL_CV, USUAL_DOF = 0.30, 9
USUAL_PROBES = 1.25  # ratio of neighbouring probes where a trial states none
TIED = 1e-12  # squares of logarithms that are rounding


def alike(lives: list[Life]) -> bool:
    """Whether all of them ended between the same two probes."""
    ends = {(life.last_pass_cuts, life.first_fail_cuts) for life in lives}
    return len(ends) == 1 and all(map(ended, lives))


def missed(groups: list[list[Life]], blades: int, stated_cv: float | None) -> float:
    """Ratio that may hide behind equal results."""
    found = _scatter(groups)
    if found is None:  # lives that tie in one interval: then the stated or usual scatter is taken
        probe_ratio = _probe_ratio([life for lives in groups for life in lives])
        return still_possible(blades, log_sd_of(stated_cv or USUAL_CV), USUAL_DOF, probe_ratio)
    sd, dof = found  # of the intervals' middles: it holds what the probes blur
    return still_possible(blades, sd, dof)


def taken(groups: dict[str, list[Life]], stated_cv: float | None) -> tuple[Reason, ...]:
    """Which scatter was taken, when these lives show none."""
    if not groups or _scatter(list(groups.values())) is not None:
        return ()
    source = "the study states it" if stated_cv else "usual for lives"
    text = (
        f"These lives show no scatter of their own: {100 * (stated_cv or USUAL_CV):.0f} % is taken "
        f"({source}), as if known from {USUAL_DOF + 1} blades."
    )
    return (Reason("scatter_taken", text),)


def _scatter(groups: list[list[Life]]) -> tuple[float, int] | None:
    """Common standard deviation of ln(life) within the groups, and its degrees of freedom.

    None when it cannot be told. Lives known from one side stay out.
    """
    logs = [[middle(life) for life in lives if ended(life)] for lives in groups]
    squares = sum(sum((x - sum(own) / len(own)) ** 2 for x in own) for own in logs if own)
    dof = sum(len(own) - 1 for own in logs if own)
    return None if dof <= 0 or squares < TIED else (math.sqrt(squares / dof), dof)


def middle(life: Life) -> float:
    """Middle of the interval of ln(life), for a life that has two ends."""
    return (math.log(life.last_pass_cuts) + math.log(life.first_fail_cuts)) / 2


def ended(life: Life) -> bool:
    """Whether a life has two ends that are told."""
    return life.last_pass_cuts > 0 and not life.survived


def _probe_ratio(lives: list[Life]) -> float:
    """Usual ratio of neighbouring probes about a life (geometric mean)."""
    steps = [math.log(life.first_fail_cuts / life.last_pass_cuts) for life in lives if ended(life)]
    return math.exp(sum(steps) / len(steps)) if steps else 1.0
