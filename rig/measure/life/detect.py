"""What ratio of lives a cuts test can see, and what ratio it may have missed.

On the log scale lives scatter with log_sd about their group's location; probes a ratio r apart
blur each by a uniform error of width ln r, of variance (ln r)^2 / 12. Two groups of n blades then
compare by Student's t with the noncentral t of J. Cohen, Statistical Power Analysis for the
Behavioral Sciences (1988). Good while ln r is at most about twice log_sd; past that most blades of
a group share one interval, and the figure is `rough`.
"""

import math
from dataclasses import dataclass

from scipy import optimize, stats

from rig.errors import RigError

ROUGH = 2.0  # ln r over log_sd above which the blur is no longer a small error


@dataclass(frozen=True)
class Detectable:
    """The smallest ratio of median lives seen with `power`, and what it was worked out from."""

    ratio: float
    blades: int
    log_sd: float
    probe_ratio: float
    dof: float
    alpha: float
    power: float
    rough: bool


def log_sd_of(cv: float) -> float:
    """Standard deviation of ln(life) of log-normal lives with this coefficient of variation."""
    if not (math.isfinite(cv) and cv > 0):
        raise RigError(f"coefficient of variation {cv:g}", remedy="give 0.15 for 15 %")
    return math.sqrt(math.log1p(cv * cv))


def smallest_ratio(
    blades: int,
    log_sd: float,
    probe_ratio: float = 1.0,
    groups: int = 2,
    alpha: float = 0.05,
    power: float = 0.8,
) -> Detectable:
    """The ratio that this many blades a group see with `power`, two-sided at `alpha`.

    Args:
        blades: in each group, 2 or more.
        log_sd: standard deviation of ln(life) between blades of a group.
        probe_ratio: of neighbouring probes; 1 for lives known exactly.
        groups: of the study; all lend their scatter.
        alpha: two-sided risk of a false alarm.
        power: chance to see the ratio.

    Raises:
        RigError: fewer than two blades or groups, numbers out of their range.
    """
    _check(blades, log_sd, probe_ratio, alpha)
    if blades < 2 or groups < 2 or not alpha < power < 1:
        raise RigError(
            f"{blades} blades in {groups} groups at power {power:g}",
            remedy="give two of each or more: one blade a group has no scatter of its own",
        )
    dof = groups * (blades - 1)
    error = _blurred(log_sd, probe_ratio) * math.sqrt(2 / blades)
    critical = float(stats.t.isf(alpha / 2, dof))

    def short(shift: float) -> float:
        seen = stats.nct.sf(critical, dof, shift) + stats.nct.cdf(-critical, dof, shift)
        return float(seen) - power

    enough = 1.0
    while short(enough) < 0:  # scipy's noncentral t fails far out, so go there by small steps
        enough *= 1.3
    shift = float(optimize.brentq(short, 0.0, enough))
    rough = math.log(probe_ratio) > ROUGH * log_sd
    return Detectable(
        math.exp(shift * error), blades, log_sd, probe_ratio, dof, alpha, power, rough
    )


def still_possible(
    blades: int, log_sd: float, dof: float, probe_ratio: float = 1.0, level: float = 0.95
) -> float:
    """The true ratio of two groups that may hide behind equal results.

    When the blades of both groups, `blades` each (one will do), fell between the same two
    probes, their true median lives may still differ by this ratio, at `level`, where lives are
    known to scatter with `log_sd` (and `dof` degrees of freedom) from earlier work.

    Raises:
        RigError: no blades, no degrees of freedom, numbers out of their range.
    """
    _check(blades, log_sd, probe_ratio, 1 - level)
    if blades < 1 or not dof > 0:
        raise RigError(
            f"{blades} blades, {dof:g} degrees of freedom",
            remedy="scatter must be known from somewhere: test two blades or more of a group",
        )
    t = float(stats.t.isf((1 - level) / 2, dof))
    return math.exp(t * _blurred(log_sd, probe_ratio) * math.sqrt(2 / blades))


def _blurred(log_sd: float, probe_ratio: float) -> float:
    return math.hypot(log_sd, math.log(probe_ratio) / math.sqrt(12))


def _check(blades: int, log_sd: float, probe_ratio: float, alpha: float) -> None:
    if not (math.isfinite(log_sd) and log_sd > 0 and math.isfinite(probe_ratio) and blades > 0):
        raise RigError(f"scatter {log_sd:g} with {blades} blades", remedy="give both above 0")
    if probe_ratio < 1 or not 0 < alpha < 1:
        raise RigError(
            f"probes a ratio {probe_ratio:g} apart, risk {alpha:g}",
            remedy="give a ratio of 1 or more and a risk between 0 and 1",
        )
