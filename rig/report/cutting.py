"""The page's section on cuts to dull."""

from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rig.guide.tally import told
from rig.measure.life import Life
from rig.report.gather import MeasuredTrial
from rig.report.ink import DARK, FITTED, MARK, STYLE, Picture, svg
from rig.report.sections import ONE_BLADE, Section

FORCE_LIMIT = (
    "Cutting force goes by the figures of the cell's maker, not by a certificate; an interval "
    "of it is of its scatter alone: it compares cuts of this frame, no more."
)


def life(trial: MeasuredTrial) -> Life | None:
    """The life of a trial; None when none can be stated."""
    found = trial.result["life"]
    if found is None or (found["last_pass_cuts"] == 0 and found["first_fail_cuts"] is None):
        return None
    fail = found["first_fail_cuts"]
    return Life(trial.name, "", found["last_pass_cuts"], float("inf") if fail is None else fail)


def _said(trial: MeasuredTrial) -> str:
    found = life(trial)
    return "" if found is None else str(found)


def _counted(trial: MeasuredTrial) -> str:
    of = trial.settings
    sheets, medium = len(of["sheets"]), of["media"]
    text = (
        f"{of['cuts']} cuts on {sheets} sheet{'s' * (sheets != 1)} of {medium['kind']}, lot "
        f"{medium['lot']}, {1e3 * medium['thickness_m']:g} mm"
    )
    if medium["moisture"]:
        text += f", moisture {medium['moisture']}"
    if of["rejected"]:
        text += f"; not counted: {told(of['rejected'])}"
    if of["typed"]:
        text += f"; COUNTED BY HAND: {of['typed']} of them"
    return text


def _ended(trial: MeasuredTrial) -> str:
    of = trial.settings
    text = str(of["stopped"] or trial.result["stop"])
    if trial.result["unconfirmed"]:
        number = trial.result["unconfirmed"]
        last = "the last probe" if number == 1 else f"the last {number} probes"
        text += f"; {last} failed, not yet confirmed"
    left_out = [f"{one['cuts']} cuts ({one['why']})" for one in of["skipped"]]
    return text + (f"; probes left out: {', '.join(left_out)}" if left_out else "")


def _edge(trial: MeasuredTrial) -> str:
    photo = trial.details.get("photo", "none")
    return f"{trial.details.get('edge', 'not looked at')}" + (
        "" if photo == "none" else f", photograph {photo}"
    )


def _crossing(trial: MeasuredTrial) -> str:
    figures = trial.result["figures"]
    parts = []
    if "crossing_cuts" in figures:
        low, high = figures.get("crossing_low"), figures.get("crossing_high")
        parts.append(
            f"force limit passed at {figures['crossing_cuts']:.0f} cuts (95 %: {_bound(low)} to "
            f"{_bound(high)})"
        )
    if "force_rise_n" in figures:
        ends = [figures.get(f"force_rise_{end}_n") for end in ("low", "high")]
        low, high = ("not bounded" if end is None else f"{end:.2g} N" for end in ends)
        parts.append(
            f"cutting force rose by {figures['force_rise_n']:.2g} N (95 %: {low} to {high})"
        )
    return "; ".join([*parts, *(f"mind: {note}" for note in trial.result["notes"])])


def _bound(value: float | None) -> str:
    return "not bounded" if value is None else f"{value:.0f}"


def probes(trial: MeasuredTrial) -> Picture | None:
    """Every probe at its cuts, the life they bound, and the forces along the cuts."""
    made = trial.settings["probes"]
    if not made:
        return None
    measured = any(one["force_n"] is not None for one in made)
    panels = 1 + measured + (len(trial.settings["forces"]) > 1)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 1.3 + 2.0 * panels), layout="constrained")
        axes = figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0].tolist()
        _places(axes[0], trial)
        if measured:
            _severing(axes[1], trial)
        if len(trial.settings["forces"]) > 1:
            _cutting(axes[-1], trial)
        axes[-1].set_xlabel("cuts")
        axes[-1].set_xlim(left=0)
        return svg(figure), _words(trial)


def _places(axes: Axes, trial: MeasuredTrial) -> None:
    """Marked places that passed (circles) and failed (crosses), over the interval of the life."""
    made, found = trial.settings["probes"], life(trial)
    for good, marker, name in ((True, "o", "passed"), (False, "x", "failed")):
        at = [
            (one["cuts"], place + 1)
            for one in made
            for place, passed in enumerate(one["passed"])
            if passed is good
        ]
        axes.plot([x for x, _ in at], [y for _, y in at], marker, ms=7, mfc="white",
                  color=DARK if good else FITTED, ls="none", label=name)  # fmt: skip
    if found is not None:
        end = made[-1]["cuts"] if found.survived else found.first_fail_cuts
        axes.plot([found.last_pass_cuts, end], [0, 0], "--" if found.survived else "-", lw=5,
                  color=MARK, solid_capstyle="butt", label=f"life: {found}")  # fmt: skip
        if found.survived:
            axes.plot(end, 0, ">", ms=8, color=MARK)
    places = max([len(one["passed"]) for one in made])
    axes.set_yticks(range(places + 1), ["life", *(f"mark {n + 1}" for n in range(places))])
    axes.set_ylim(-0.6, places + 0.6)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=8)


def _severing(axes: Axes, trial: MeasuredTrial) -> None:
    made = [one for one in trial.settings["probes"] if one["force_n"] is not None]
    axes.errorbar(
        [one["cuts"] for one in made], [one["force_n"] for one in made],
        yerr=[one["u_n"] for one in made], fmt="o", ms=5, capsize=3, color=DARK, label="median ± u",
    )  # fmt: skip
    limit = trial.settings["rule"]["force_limit_n"]
    if limit is not None:
        axes.axhline(limit, ls="--", lw=1, color=FITTED, label="limit")
    low, high = (trial.result["figures"].get(f"crossing_{end}") for end in ("low", "high"))
    if low is not None and high is not None:
        axes.axvspan(low, high, color=MARK, alpha=0.15, label="crossing, 95 %")
    axes.set_ylabel("to sever, N")
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=8)


def _cutting(axes: Axes, trial: MeasuredTrial) -> None:
    forces = trial.settings["forces"]
    axes.plot([x for x, _ in forces], [y for _, y in forces], "s-", ms=4, lw=0.8, color=DARK,
              label="blade, mean\nof a stretch")  # fmt: skip
    controls = [one for one in trial.settings["controls"] if one["force_n"] is not None]
    axes.plot([one["at_cuts"] for one in controls], [one["force_n"] for one in controls], "D", ms=6,
              mfc="none", color=MARK, label="control blade,\neach sheet")  # fmt: skip
    axes.set_ylabel("to cut, N")
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=8)


def _words(trial: MeasuredTrial) -> str:
    def one(made: dict[str, Any]) -> str:
        text = f"{made['cuts']} cuts"
        if made["passed"]:
            text += f" {made['passed'].count(True)} of {len(made['passed'])} marks passed"
        return text + (f" {made['force_n']:.3g} N" if made["force_n"] is not None else "")

    told_probes = "; ".join(one(made) for made in trial.settings["probes"])
    found = life(trial)
    return f"{trial.name}: life {found or 'not known'}. Probes: {told_probes}."


EDGE_LIFE = Section(
    kind="edge_life",
    columns=("Life", "Counted", "Ended by", "Edge", "Force"),
    cells=lambda trial: [
        _said(trial) or "none can be stated", _counted(trial), _ended(trial), _edge(trial),
        _crossing(trial),
    ],
    words={"edge_life": "edge life"},
    formula="from the last probe passed to the first failed",
    said=_said,
    picture=probes,
    rests_on="Cuts are counted; forces to sever are as typed in.",
    limits=(
        "A life from pass or fail probes is an interval, never one number in it.",
        "An edge still sharp at the end gives a bound (more than), never a life.",
        "It holds for this medium and lot, this criterion and this edge's angle and finish.",
        ONE_BLADE,
    ),
    more_limits=lambda trial: (FORCE_LIMIT,) if trial.settings["forces"] else (),
)  # fmt: skip
