"""A verdict says what it is, whole, and earlier ones are read as they were meant."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.guide.verdict import State, Verdict, fault, read
from rig.measure.budget import Reason

SLIPPED = Reason("slip", "it slipped", 0.3, 0.2, "mm")
UNCERTIFIED = Reason("load_certificate", "there is no load certificate")
RESULT = {"result_id": 7, "reasons": [], "measurands": {}}

reasons = st.lists(
    st.builds(Reason, st.text(max_size=5), st.text(max_size=9), st.none() | st.floats(0, 1)),
    max_size=2,
)


@given(reasons, reasons, st.sampled_from(["", "right", "left"]), st.none() | st.just(RESULT))
def test_a_verdict_is_read_as_it_was_noted(
    against: list[Reason], lacks: list[Reason], censored: str, result: dict[str, object] | None
) -> None:
    made = Verdict.judged("K3 drop 1", "K3", result, against, lacks, censored=censored)
    assert read(made.to_dict()) == made and fault(made.to_dict()) == ""
    assert made.valid is not bool(against)


@pytest.mark.parametrize(
    ("against", "lacks", "state"),
    [
        ((), (), State.VALID),
        ((), (UNCERTIFIED,), State.INDICATION),
        ((SLIPPED,), (), State.NOT_VALID),
        ((SLIPPED,), (UNCERTIFIED,), State.NOT_VALID),
    ],
)
def test_the_state_follows_from_what_stands_against_it_and_what_it_lacks(
    against: tuple[Reason, ...], lacks: tuple[Reason, ...], state: State
) -> None:
    assert Verdict.judged("t", "K3", RESULT, against, lacks).state is state


def test_what_stands_against_a_result_stands_against_its_trial_with_its_name() -> None:
    result = {**RESULT, "reasons": [vars(SLIPPED)]}
    made = Verdict.judged("t", "K3", result, [Reason("line", "the line was lost")])
    assert [reason.name for reason in made.reasons] == ["line", "slip"]
    assert made.but(UNCERTIFIED).words[-1] == UNCERTIFIED.text


@pytest.mark.parametrize(
    ("state", "against", "result"),
    [
        (State.VALID, (SLIPPED,), 3),
        (State.NOT_VALID, (), 3),
        (State.INDICATION, (), 3),
        (State.UNRECORDED, (), None),
        (State.UNRECORDED, (SLIPPED,), 3),
    ],
)
def test_a_state_that_does_not_go_with_the_rest_is_refused(
    state: State, against: tuple[Reason, ...], result: int | None
) -> None:
    with pytest.raises(ValueError, match=r"does not go with|unrecorded without"):
        Verdict("t", "K3", state, against, result_id=result)


def test_a_withdrawn_trial_is_not_valid_and_an_unrecorded_one_stays_unrecorded() -> None:
    why = Reason("withdrawn", "typed 50.5 for 60.5")
    assert Verdict.judged("t", "K3", RESULT).taken_back(why).state is State.NOT_VALID
    lost = Verdict.unrecorded("t", "K3", [Reason("not_recorded", "not recorded")], energy_j=None)
    assert lost.taken_back(why).state is State.UNRECORDED


EARLIER_TIP: dict[str, Any] = {
    "trial": "K3 in hardwood", "specimen": "K3", "block": "hardwood", "kind": "unrecorded",
    "censored": "", "valid": False, "reasons": ["not recorded: the program had ended"],
    "indication": [], "peak_torque_nm": None, "peak_torque_U_nm": None,
}  # fmt: skip


def test_an_earlier_trial_that_did_not_count_and_had_no_number_was_not_recorded() -> None:
    told = read(EARLIER_TIP)
    assert told.state is State.UNRECORDED and told.result_id is None
    assert told.words == EARLIER_TIP["reasons"] and told.details["block"] == "hardwood"
    assert read({**EARLIER_TIP, "result_id": 4}).state is State.NOT_VALID
    assert read({**EARLIER_TIP, "valid": True, "reasons": []}).state is State.VALID


@pytest.mark.parametrize("body", [{}, {"said": "good"}, {"trial": "t", "valid": None}])
def test_whatever_an_early_script_noted_as_a_verdict_is_read(body: dict[str, Any]) -> None:
    told = read(body)
    assert not told.valid and told.words == ["it is not valid"]
    assert fault(body), "and is noted so no more"


def test_damage_of_the_earliest_verdicts_was_a_word() -> None:
    assert read({"trial": "t", "valid": True, "damage": "chip"}).damage == {"kind": "chip"}
