"""What to do after a study, from what it could and could not say."""

from rig.commands import typed
from rig.study.answers.answer import NOTHING, Answer
from rig.study.answers.whole import Whole
from rig.study.statistics.phrases import are, begin
from rig.study.statistics.units import BLADE, layout
from rig.study.statistics.verdict import CANNOT_TELL, SHOWN


def steps(study: Whole, name: str) -> list[str]:
    """One sentence or two each; `name` is the logbook's, as typed."""
    told = []
    if study.left:
        command = typed("bladerig", "study", "next", name)
        told.append(f"{begin(are(len(study.left), 'planned trial'))} left: make them ({command}).")
    if empty := _titles(study, NOTHING):
        told.append(
            f"{empty}: no trial counts. The tables say why; mend that, then make the trials again."
        )
    if unclear := _titles(study, CANNOT_TELL):
        command = typed("bladerig", "study", "plan", name, "--pilot", name)
        told.append(
            f"{unclear}: cannot tell. {command} says how many blades a further study needs at the "
            "scatter met here; adding blades until a difference shows is no test."
        )
    if shown := _titles(study, SHOWN):
        told.append(
            f"{shown}: before you call the difference one of the treatment, see it again on "
            f"{_fresh(study)} and by somebody who does not know which blade is which."
        )
    return told or ["Keep the logbook: every number here can be worked out from it again."]


def _titles(study: Whole, verdict: str) -> str:
    names = [one.response.kind.title for one in study.answers if one.verdict == verdict]
    text = ", ".join(names)
    return text[:1].upper() + text[1:]


def _fresh(study: Whole) -> str:
    """Blades of other loads where the blade was the unit of a comparison.

    That is with no load on record, or with one for all blades: what another load does is not known.
    """
    by_blades = any(_by_blades(one) for one in study.answers)
    return "blades of other furnace loads" if by_blades else "fresh blades"


def _by_blades(told: Answer) -> bool:
    return bool(told.data.observations) and layout(told.data).unit == BLADE
