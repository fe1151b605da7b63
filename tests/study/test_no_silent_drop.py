"""Whatever trials a logbook holds: each counts or is listed with its reason, and nothing breaks."""

from datetime import UTC, datetime
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rig.guide.verdict import Verdict
from rig.logbook.records import Run
from rig.measure.budget import Reason
from rig.study.answers.answer import answer
from rig.study.register.collect import beside, collect
from rig.study.register.trials import Trial
from tests.study.books import record

NOW = datetime(2031, 5, 6, tzinfo=UTC)
BLADES = ("A1", "A2", "A3", "B1", "B2", "C1")
STUDY = record(
    {"A": 3, "B": 2, "C": 1},
    ["pry_torque", "edge_life", "impact_damage", "hardness"],
    loads={"A1": "x", "A2": "y", "B1": "x"},
)
KEY = {f"c{blade}": blade for blade in BLADES}
PROCEDURES = {
    "pry_to_failure": "peak_torque", "cuts_to_dull": "", "drop_impact": "energy_not_returned",
    "hardness": "hardness", "edge_twist": "peak_torque",
}  # fmt: skip

amounts = st.one_of(st.none(), st.floats(-5, 80), st.just(0.0), st.just(1e300))
cuts = st.one_of(st.none(), st.integers(1, 900))


@st.composite
def trial(draw: st.DrawFn) -> Trial:
    """A trial that may be anything that a verdict can hold."""
    procedure = draw(st.sampled_from(sorted(PROCEDURES)))
    number = draw(st.integers(1, 10_000))
    run = Run(number, procedure, "5eed", {}, {"device": "port"}, NOW, NOW, "finished", "done")
    codes = draw(st.lists(st.sampled_from([*KEY, "ZZ9"]), min_size=1, max_size=2, unique=True))
    body: dict[str, Any] = {"censored": draw(st.sampled_from(["", "right", "left"]))}
    if draw(st.booleans()):
        low = draw(st.integers(0, 300))
        fail = draw(st.one_of(st.none(), st.integers(low + 1, 600)))
        known = low > 0 or fail is not None
        body["life"] = {"last_pass_cuts": low, "first_fail_cuts": fail} if known else None
        body["damage"] = {"kind": "roll", "depth_m": draw(amounts), "u_m": 1e-5}
    value = draw(amounts)
    found = {} if value is None else {PROCEDURES[procedure]: {"value": value, "u": 0.1}}
    against = tuple(draw(st.lists(st.just(Reason("slip", "slipped")), max_size=1)))
    if "ZZ9" in codes:
        against += (Reason("no_code", "'ZZ9' is no code of this study"),)
    verdict = Verdict.judged(f"trial {number}", ", ".join(codes), **body)
    return Trial(verdict.trial, run, NOW, tuple(codes), verdict, found, against)


@settings(max_examples=60, deadline=None)
@given(st.lists(trial(), max_size=25, unique_by=lambda one: one.run.run_id))
def test_every_trial_counts_or_is_listed_and_every_response_has_its_answer(
    trials: list[Trial],
) -> None:
    told = collect(trials, STUDY, KEY)
    for one in told:
        mine = {t.run.run_id for t in trials if t.procedure == one.response.kind.procedure}
        counted = set().union(*one.runs.values())
        left = [e.run_id for e in one.excluded]
        assert sorted([*counted, *left]) == sorted(mine), "each once, none lost"
        assert all(e.reasons for e in one.excluded)
        found = answer(one, STUDY)
        assert found.headline and found.to_dict()["verdict"]
        assert "nan" not in found.headline and "None" not in found.headline
    asked = {response.kind.procedure for response in STUDY.response}
    outside = [t for t in trials if t.procedure not in asked]
    assert len(beside(trials, STUDY)) == len(outside)
