"""Days of the calendar: what fits, what is alike from day to day, what they use up."""

from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.study.register import ahead, calendar, kept, workload
from rig.study.register.calendar import SETUP_MIN, minutes
from tests.study.books import begin, record

RESPONSES = ("hardness", "edge_life", "twist_torque", "impact_damage", "pry_torque")
ENERGY = {"settings": {"drop_impact": {"energy": "5 J"}}}


@given(st.integers(2, 4), st.integers(1, 6), st.floats(1, 12), st.text("0123456789abcdef"))
def test_every_day_fits_its_hours_and_meets_all_groups_alike(
    groups: int, blades: int, hours: float, secret: str
) -> None:
    study = record({f"G{g}": blades for g in range(groups)}, RESPONSES, control=None,
                   hours_a_day=hours, **ENERGY)  # fmt: skip
    codes = {f"G{g}": [f"{g}.{n}" for n in range(blades)] for g in range(groups)}
    stints = calendar.schedule(study, codes, kept.procedures(study), secret)
    for own in calendar.by_block(stints).values():
        alone = len(own) == 1 and len(own[0].blades) == 1
        assert alone or sum(one.minutes for one in own) <= 60 * hours + 1e-6
    days = [int(one.block.removeprefix("day ")) for one in stints]
    assert days == sorted(days), "a day that is over does not come again"
    for procedure in kept.procedures(study):
        mine = [one for one in stints if one.procedure == procedure]
        met = [blade for one in mine for blade in one.blades]
        assert sorted(met) == sorted(blade for of in codes.values() for blade in of)
        room = (60 * hours - SETUP_MIN) / minutes(study, procedure)
        if room >= groups:  # a day has room for a round
            for one in mine:
                each = Counter(blade.split(".")[0] for blade in one.blades)
                assert set(each.values()) == {len(one.blades) // groups}, one


@pytest.mark.parametrize("more", [{}, {"blocks": ("day 1", "day 2", "day 3")}])
def test_the_days_of_an_order_follow_one_another_through_all_tests(
    tmp_path: Path, more: dict[str, object]
) -> None:
    study = record({"A": 3, "B": 3, "C": 3}, RESPONSES, **ENERGY, **more)
    made = begin(tmp_path / "s.logbook", study)
    made.book.close()
    trials = made.order.trials
    assert [one.place for one in trials] == list(range(1, 46))
    days = [int(one.block.removeprefix("day ")) for one in trials]
    assert days == sorted(days) and days[-1] > 1
    for code in made.order.codes:  # each blade goes through the tests in their order
        own = [one.procedure for one in trials if one.code == code]
        assert own == list(kept.procedures(study))


def test_the_cost_of_the_blades_entered_is_said_by_day() -> None:
    study = record({"A": 3, "B": 3, "C": 3}, ("hardness", "impact_damage", "pry_torque"),
                   hours_a_day=5, settings={"drop_impact": {"energy": "5 J", "drops": "2"},
                                            "pry_to_failure": {"schedule": "softwood,hardwood"}},
                   )  # fmt: skip
    lines = list(workload.lines(study, workload.entered(study)))
    # By hand: hardness 15 + 9 x 8 = 87 min, drops 15 + 9 x (12 + 4) = 159 min: 246 of 300 min.
    # Of pries 54 - 15 = 39 min hold two, no round of three: all on the next day, 15 + 9 x 15 min.
    assert lines == [
        "The 9 blades entered: 27 trials, about 6.6 hours at the bench, over 2 days of 5 hours",
        "  used up: 18 fresh faces of the rod, 9 fresh places in softwood, 9 fresh places in "
        "hardwood",
        "  day 1, 4.1 hours: hardness of 9 blades, drop_impact of 9 blades",
        "    take: 18 fresh faces of the rod",
        "  day 2, 2.5 hours: pry_to_failure of 9 blades",
        "    take: 9 fresh places in softwood, 9 fresh places in hardwood",
    ]


def test_cord_and_card_are_counted_too() -> None:
    settings = {"cuts_to_dull": {"limit": "450", "cuts_per_sheet": "100"}}
    study = record({"A": 2, "B": 2}, ("starting_sharpness", "edge_life"), settings=settings)
    assert workload.supplies(study, workload.entered(study)) == (
        "28 fresh lengths of cord, 20 sheets of card at most"
    )


@given(st.floats(0.3, 10))
def test_the_next_hours_hold_what_fits_in_the_order_as_it_is(hours: float) -> None:
    study = record({"A": 2, "B": 2}, ("hardness", "pry_torque"))
    left = [
        kept.Planned(n + 1, "day 1", f"C{n % 4}", procedure, 1)
        for n, procedure in enumerate(["hardness"] * 4 + ["pry_to_failure"] * 4)
    ]
    told = ahead.ahead(left, study, hours)
    ahead_of = [one for stretch in told for one in stretch.trials]
    assert ahead_of == left[: len(ahead_of)] and ahead_of
    spent = sum(one.minutes for one in told)
    assert len(ahead_of) == 1 or spent <= 60 * hours + 1e-6
    assert len(told) == len({one.procedure for one in ahead_of}), "each jig is set up once"
