"""The drop tower's session: its empty drops, the acceleration they give, and the chart of it."""

from procedures.lib import tower, verdicts
from rig.bench import Bench
from rig.errors import RigError
from rig.guide.measures import drop_facts
from rig.guide.steps import Ask, Do, Measure, Note, Passage, Recall, Tell
from rig.measure.budget import Measurand, from_dict, to_dict
from rig.measure.drop.evaluate import DropResult
from rig.measure.drop.height import change_reasons
from rig.measure.drop.height import effective_acceleration as a_eff_of
from rig.quantity import stated

FRICTION = "tower_acceleration"
SESSION_H = 12.0
CHART_H = 24.0 * 365


def effective_acceleration(bench: Bench, anew: bool = False) -> Passage[Measurand]:
    """The tower's effective acceleration today: this session's, or from empty drops now.

    A session is twelve hours of one bench, as its file states it, on one kind of rig. The board's
    boot has no part in it: an acceleration does not depend on where the height begins.

    Args:
        bench: the rig.
        anew: make the empty drops even if this session has some.
    """
    recalled = yield Recall("Looking for this session's empty drops.", kind=FRICTION, hours=CHART_H)
    own = [row for row in recalled["found"] if row["bench"] == bench.name]
    fresh = yield Recall("Still of this session?", kind=FRICTION, hours=SESSION_H)
    of_bench = {"bench": bench.name, "tower": bench.tower.model_dump(mode="json")}
    for row in fresh["found"]:
        if not anew and all(row.get(key) == value for key, value in of_bench.items()):
            yield Tell("This session's empty drops are on record; they hold.")
            return from_dict(row["a_eff"])
    today = yield from _empty_drops(bench)
    yield from _against_chart(today, [from_dict(row["a_eff"]) for row in own], bench)
    yield Note(
        "Effective acceleration of this session",
        kind=FRICTION,
        body={"a_eff": to_dict(today), **of_bench},
    )
    return today


def _empty_drops(bench: Bench) -> Passage[Measurand]:
    wanted, height_m = bench.tower.fall.empty_drops, bench.tower.fall.empty_drop_m
    yield Do(
        f"{wanted} empty drops first: they show the guide's friction today. Know where the e-stop "
        "is. Carriage up and clear, "
        "pin in, guard open. Clamp the blunt blank where the blade goes.",
        hand="bare",
        hazards=("falling_mass", "pinch"),
    )
    results: list[DropResult] = []
    facts = contact = None
    for number in range(1, 2 * wanted + 1):
        trial = f"empty drop {number}"
        # The blank gives way to no drop: its contact holds until a drop says otherwise.
        fallen = yield from tower.fall(
            trial, height_m, bench, "the blank", number == 1, known=contact
        )
        contact = None
        if fallen["raw_id"] is None:
            yield Tell(f"{trial} was not recorded ({tower.unrecorded(fallen)}). It is made again.")
            continue
        asked = {"second_strike_allowed": True}
        used = tower.settings(bench, fallen, None, asked)
        told = yield Measure(
            "Speed of this drop", measurand="drop", trial=trial, raw_id=fallen["raw_id"],
            settings=used,
        )  # fmt: skip
        reasons = [*(one.text for one in fallen["reasons"]), *verdicts.reasons(told)]
        if reasons or "impact_speed" not in told["measurands"]:
            yield Tell(f"{trial} is not valid: {'; '.join(reasons)}. It is made again.")
            continue
        speed = from_dict(told["measurands"]["impact_speed"])
        yield Tell(f"{trial}: {stated(speed.value, speed.U, speed.unit)}")
        contact = fallen["contact"]
        results.append(DropResult.from_dict(told))
        facts = drop_facts(bench.tower, bench.site, fallen["time_base"])
        if len(results) == wanted:
            return a_eff_of(results, facts)
    raise RigError(
        f"only {len(results)} of {wanted} empty drops were valid",
        remedy="mend what the drops named (carriage, wire, or bench.toml), then start a new run",
    )


def _against_chart(today: Measurand, earlier: list[Measurand], bench: Bench) -> Passage[None]:
    """A tower that changed since last time stops the session until someone says why."""
    if not earlier:
        yield Tell("First session on record: the chart of this tower begins here.")
        return
    reasons = change_reasons(today, earlier[0], bench.tower.fall.a_change_limit)
    for reason in reasons:
        answer = yield Ask(
            f"{reason.text}. What changed? (cleaned, oiled, other carriage, wire ...)",
            key="tower_changed",
        )
        yield Note(
            "Why the tower changed",
            kind="tower_changed",
            body={"reason": answer["value"], "change": reason.figure},
        )
