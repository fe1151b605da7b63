"""Planning for "ruled out": the chance that groups truly alike are shown to be, within the margin.

Large groups against the normal formula of two one-sided tests, 2 Phi(margin/se - z_0.975) - 1
(S. A. Julious, Sample sizes for clinical trials with normal data, Statistics in Medicine 23
(2004), for a true difference of nought; from memory), less the 5 % in which a difference is shown.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.stats import norm

from procedures.lib.cutplan import PARAMETERS
from rig.cli.main import cli
from rig.logbook import Logbook
from rig.study.answers.plan_words import blind_below, in_words, never_sure
from rig.study.answers.planning import blades_asked, plans
from rig.study.register import kept
from rig.study.statistics.compare import compare
from rig.study.statistics.data import LOG, Response
from rig.study.statistics.designs import Design
from rig.study.statistics.life_scatter import USUAL_PROBES
from rig.study.statistics.plan import Scatter, plan_study
from rig.study.statistics.power import log_scatter
from rig.study.statistics.verdict import RULED_OUT
from tests.study.blades import drawn, study
from tests.study.books import begin, record, response

ONE_PAIR = ((1, 0),)


@pytest.mark.parametrize("margin", [0.2, 0.25, 0.3])
def test_large_groups_follow_the_normal_formula(margin: float) -> None:
    n = 400
    edge = margin * math.sqrt(n / 2)
    z = edge - norm.isf(0.025)
    # Where the difference is shown as well (|d| above 1.96 se) the verdict is "shown".
    wanted = 2 * norm.cdf(min(z, norm.isf(0.025))) - 1
    assert Design().ruled_out(margin, n, ONE_PAIR) == pytest.approx(wanted, abs=0.015)


def test_it_is_how_often_the_verdict_itself_rules_out() -> None:
    rng, studies = np.random.default_rng(4), 400
    torque = Response("torque", "N.m", LOG, 1.3, 1.2)
    told = [
        compare(study(drawn(rng, (1.0, 1.0, 1.0), 6, 1, 0.1), torque)).verdict == RULED_OUT
        for _ in range(studies)
    ]
    chance = Design().ruled_out(math.log(1.2) / log_scatter(0.1), 6, ((1, 0), (2, 0)))
    assert np.mean(told) == pytest.approx(chance, abs=3 * math.sqrt(0.25 / studies))


def test_more_blades_and_wider_margins_rule_out_more_often() -> None:
    chances = [Design().ruled_out(1.0, n, ONE_PAIR) for n in (3, 6, 12, 24)]
    assert chances == sorted(chances)
    assert Design().ruled_out(1.0, 8, ONE_PAIR) < Design().ruled_out(1.5, 8, ONE_PAIR)
    assert Design().ruled_out(1.2, 8, ((1, 0), (2, 0))) < Design().ruled_out(1.2, 8, ONE_PAIR)


def test_where_the_chance_to_rule_out_ends_the_plan_says_why(tmp_path: Path) -> None:
    """The verdict's own 5 %: no number of blades takes the chance past 95 % (simulated: +- 1 %)."""
    asked = response("hardness", smallest=1.0, margin=1.0, scatter=0.4)
    (told,) = plans(record({"A": 6, "B": 6}, [asked]))
    best = max(row.ruled_out for row in told.plan.rows)
    assert best == pytest.approx(0.95, abs=0.01)
    assert "ends near 95%" in never_sure(told) and "5 of 100" in never_sure(told)
    (wide,) = plans(record({"A": 6, "B": 6}, [response("pry_torque", margin=1.05, scatter=0.3)]))
    assert never_sure(wide) == ""
    book = begin(tmp_path / "s.logbook", record({"A": 6, "B": 6}, [asked])).book
    book.close()
    shown = CliRunner().invoke(cli, ["study", "plan", str(book.path)])
    assert never_sure(told) in shown.output


def test_a_plan_that_will_hardly_rule_out_says_so() -> None:
    (told,) = plans(record({"A": 6, "B": 6}, [response("pry_torque", margin=1.15, scatter=0.12)]))
    (line,) = [line for line in in_words(told) if "truly alike" in line]
    assert "above the margin (15 % more or 13 % less) in only" in line
    assert line.endswith('expect "cannot tell"')
    row = next(row for row in told.plan.rows if row.units == told.plan.units)
    assert f"{row.ruled_out:.0%}" in line and row.ruled_out < 0.3


def test_a_margin_wider_than_what_matters_is_told_before_the_trials() -> None:
    asked = response("hardness", margin=1.5, scatter=0.4)
    (told,) = plans(record({"A": 6, "B": 6}, [asked]))
    assert any("margin (1.5 HRC) is wider" in line for line in in_words(told))


def test_what_a_plan_must_be_taken_with_care_for_is_told() -> None:
    torque = Response("torque", "N.m", LOG, 3.0, 1.2)
    plan = plan_study(torque, 2, Scatter(0.12))
    assert plan.units is not None and plan.units < 4
    asked = response("pry_torque", smallest=3.0, scatter=0.12)
    (told,) = plans(record({"A": 6, "B": 6}, [asked]))
    assert any("a wrong guess costs less" in line for line in in_words(told))


def test_lives_are_planned_with_what_their_probes_leave_open() -> None:
    asked = [response("edge_life", scatter=0.2), response("twist_torque", scatter=0.2)]
    study_of = record({"A": 6, "B": 6}, asked)
    life, torque = plans(study_of)
    assert life.plan.scatter == pytest.approx(
        math.hypot(torque.plan.scatter, math.log(1.25) / math.sqrt(12))
    )
    assert life.plan.units is not None and torque.plan.units is not None
    assert life.plan.units >= torque.plan.units
    assert blades_asked(study_of.response[0], study_of) == life.plan.units
    assert any("probes 1.25 times apart" in line for line in in_words(life))
    assert not any("probes" in line for line in in_words(torque))
    of_torque = {row.units: row.ruled_out for row in torque.plan.rows}
    for one in life.plan.rows:
        if one.units in of_torque:
            assert one.ruled_out <= of_torque[one.units], "probes rule out more seldom"


def test_the_plan_takes_the_probes_that_a_trial_makes_by_itself() -> None:
    assert float(next(p for p in PARAMETERS if p.name == "ratio").default or 0) == USUAL_PROBES


def test_lives_nobody_measured_are_planned_with_a_scatter_of_thirty_per_cent() -> None:
    (told,) = plans(record({"A": 6, "B": 6}, ["edge_life"]))
    assert told.plan.scatter == pytest.approx(
        math.hypot(log_scatter(0.3), math.log(1.25) / math.sqrt(12))
    )
    assert any("scatter 30 % taken as usual" in line for line in in_words(told))


def test_what_to_do_after_a_plan_follows_the_state_of_the_study(tmp_path: Path) -> None:
    study_of = record({"A": 2, "B": 2}, [response("pry_torque", scatter=0.1)])
    entered = Logbook.create(tmp_path / "e.logbook", title="entered")
    kept.enter(entered, study_of)
    entered.close()
    made = begin(tmp_path / "s.logbook", study_of)
    made.book.close()
    opened = begin(tmp_path / "o.logbook", study_of)
    opened.unseal("early")
    opened.book.close()
    for name, wanted in (("e", "study deal"), ("s", "study next"), ("o", "study init NEXT.toml")):
        told = CliRunner().invoke(cli, ["study", "plan", str(tmp_path / f"{name}.logbook")])
        assert f"Next: bladerig {wanted}" in told.output, told.output


def test_blades_that_find_nothing_at_all_are_told_in_words() -> None:
    (told,) = plans(record({"A": 2, "B": 2}, [response("pry_torque", scatter=0.3)]))
    assert blind_below(told).startswith("2 blades a group find next to nothing")
    (fair,) = plans(record({"A": 2, "B": 2}, [response("pry_torque", scatter=0.1)]))
    assert "times the other" in blind_below(fair)
    (hard,) = plans(record({"A": 2, "B": 2}, [response("hardness", scatter=0.4)]))
    assert blind_below(hard) == ""
