"""What lost and withdrawn trials do to an answer, in plain sentences."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rig.study.register.accidents import NO, UNKNOWN, Lost
from rig.study.register.collect import Collected
from rig.study.register.record import StudyRecord
from rig.study.register.trials import Trial
from rig.study.statistics.data import MORE, NEITHER, Observation
from rig.study.statistics.phrases import are, many


def of_response(lost: Sequence[Lost], one: Collected, key: Mapping[str, str]) -> list[Lost]:
    """Blades lost before they counted in a response."""
    there = set(one.sets)
    procedure = one.response.kind.procedure
    return [gone for gone in lost if gone.of(procedure) and key.get(gone.code) not in there]


def not_made(left: int, planned: int) -> str:
    """What trials that were planned and not made do to an answer; "" when there are none."""
    if not left:
        return ""
    return (
        f"{left} of its {many(planned, 'planned trial')} {'is' if left == 1 else 'are'} not made, "
        "and the key is open: who stops when it looks right finds differences that are none."
    )


def verdict(gone: Sequence[Lost], key: Mapping[str, str], record: StudyRecord) -> str:
    """What the verdict itself must say: blades that went missing for what their treatment did."""
    tied = [one for one in gone if one.from_treatment != NO]
    if not tied:
        return ""
    group = {blade.name: blade.group for blade in record.blade}
    counts = Counter(group[key[one.code]] for one in tied)
    names = ", ".join(f"{n} of {name}" for name, n in counts.items())
    doubt = "" if any(one.from_treatment != UNKNOWN for one in tied) else " (nobody knows)"
    return (
        f"{are(len(tied), 'blade')} missing here for a reason that may lie in the treatment{doubt} "
        f"({names}): this compares only the blades that lasted, so a group that lost some may look "
        "better than it is."
    )


def as_worst(
    gone: Sequence[Lost], one: Collected, key: Mapping[str, str], record: StudyRecord
) -> Collected | None:
    """The response with each blade that its treatment may have cost counted as the worst one seen.

    None where there is no such blade, or no worst: nothing counts, or neither way is better.
    """
    tied = {key[each.code] for each in gone if each.from_treatment != NO}
    better = one.response.response().better
    if not tied or better == NEITHER or not (one.observations or one.lives):
        return None
    blades = [blade for blade in record.blade if blade.name in tied]
    if one.lives:
        ends = min if better == MORE else max
        worst = ends(one.lives, key=lambda life: (life.last_pass_cuts, life.first_fail_cuts))
        more = [replace(worst, specimen=blade.name, group=blade.group) for blade in blades]
        return replace(one, lives=[*one.lives, *more])
    values = [seen.value for seen in one.observations]
    low = min(values) if better == MORE else max(values)
    seen = [Observation(blade.group, blade.name, low, blade.load) for blade in blades]
    return replace(one, observations=[*one.observations, *seen])


def weighed(verdict_now: str, verdict_worst: str) -> str:
    """What the lost blades could have changed."""
    if verdict_now == verdict_worst:
        return "Counted as the worst blade seen, they would leave the answer as it is."
    return f'Counted as the worst blade seen, they would make the answer "{verdict_worst}".'


def note(gone: Sequence[Lost], key: Mapping[str, str]) -> str:
    """Every blade that is missing from a response, with its reason."""
    if not gone:
        return ""
    told = "; ".join(
        f"{key[one.code]} ({one.reason}; from its treatment: {one.from_treatment})" for one in gone
    )
    return f"Lost before this test: {told}."


def taken_back_late(trials: Sequence[Trial], lost: Sequence[Lost], procedure: str) -> str:
    """Trials and blades taken out once the key was open: that can make any answer."""
    late = [one.name for one in trials if one.withdrawn and one.withdrawn.key_open
            and one.procedure == procedure]  # fmt: skip
    gone = [one.code for one in lost if one.key_open and one.of(procedure)]
    parts = [many(len(late), "trial") + " withdrawn"] if late else []
    parts += [many(len(gone), "blade") + " told lost"] if gone else []
    if not parts:
        return ""
    return f"{' and '.join(parts)} with the key open: chosen knowing whose they were."
