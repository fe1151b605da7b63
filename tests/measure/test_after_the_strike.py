"""What follows the first strike: the drum's part in the rebound, and where later blows land."""

from dataclasses import replace

import pytest

from rig.measure.budget import Input
from rig.measure.drop.evaluate import evaluate_drop
from rig.measure.drop.rebound import SWING
from tests.measure.traces import SCALE_M, Truth, facts, record


def test_what_the_drum_gave_back_to_the_carriage_is_taken_off_the_rebound() -> None:
    """Momentum: drum/carriage of SWING (v_i + v_r) came after the strike, so v_r is smaller."""
    bare = evaluate_drop(record(), facts())
    drum = evaluate_drop(record(), facts(drum_mass_kg=0.1))
    given = 0.1 / 2.0 * SWING * (bare["impact_speed"].value + bare["rebound_speed"].value)
    lost = bare["rebound_speed"].value - drum["rebound_speed"].value
    assert lost == pytest.approx(given, rel=0.02)


def test_later_blows_land_three_quarters_of_the_way_into_the_dent() -> None:
    """Free fall, v^2 = 2 a h: four counts of dent are three counts more to fall."""
    made = record(Truth(caught=False))
    contact = made.contact
    after = Input("after", contact.value - 4, contact.u, contact.dof, "", "count")
    flat = evaluate_drop(replace(made, contact_after=replace(contact, name="after")), facts())
    dented = evaluate_drop(replace(made, contact_after=after), facts())
    speeds = [one["second_strike_speed"].value for one in (flat, dented)]
    more = speeds[1] ** 2 - speeds[0] ** 2
    assert more == pytest.approx(2 * Truth().a_m_s2 * 3 * SCALE_M, rel=0.1)
