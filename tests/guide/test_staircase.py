"""The whole staircase on the virtual rig: what it finds, and that it goes on where it stopped."""

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from rig import bench as benches
from rig.errors import RigError
from rig.guide import script as scripts
from rig.guide.assumed import too_narrow
from rig.guide.operator import ScriptedOperator
from rig.guide.parameters import read_all
from rig.guide.recompute import recompute
from rig.guide.runner import Runner
from rig.guide.steps import Ask
from rig.logbook import Logbook
from rig.logbook.audit import audit
from rig.quantity import stated
from rig.report import page
from tests.guide.rigs import VirtualRig, new_book


class Looker(ScriptedOperator):
    """Finds a chip where the true threshold of the site was passed, else nothing."""

    def __init__(self, rig: VirtualRig, threshold_j: float, hook: Any = None) -> None:
        super().__init__({"fell": ["unsure"]}, hook)
        self.rig, self.threshold_j = rig, threshold_j

    def ask(self, step: Ask) -> Callable[[], str | None]:
        found = {
            "damage": "chip"
            if self.rig.tower.truth[-1].impact_energy_j > self.threshold_j
            else "none",
            "depth": "0.4 mm",
            "width": "1.1 mm",
        }
        if step.key in found:
            return lambda: found[step.key]
        return super().ask(step)


def staircase(
    book: Logbook, rig: VirtualRig, threshold_j: float = 5.0, hook: Any = None, **given: str
) -> Mapping[str, Any]:
    """Run one staircase to its end."""
    script = scripts.load("staircase_impact")
    wanted = {"energy": "4.5 J", "specimen": "K3", "drops": "8", **given}
    params = read_all(script.parameters, wanted)
    bench = benches.load(None)
    script.check(params, bench)
    operator = Looker(rig, threshold_j, hook)
    return Runner(book, bench, rig.device, operator).start(script, params)[1]


def sites(path: Path) -> Sequence[dict[str, Any]]:
    """What was noted of each site."""
    with Logbook.open(path, writable=False) as book:
        return [row.body for row in book.journal(kind="site")]


def test_the_energy_follows_each_outcome_and_half_fail_near_the_truth(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        told = staircase(book, VirtualRig())
        path = book.path
        (stored,) = book.results(trial="K3 staircase")
        (rule,) = (row.body for row in book.journal(kind="staircase_rule"))
    found = sites(path)
    levels = [site["level_j"] for site in found]
    assert levels == pytest.approx([4.5, 4.95, 5.4, 4.95, 5.4, 4.95, 5.4, 4.95])
    assert [site["failed"] for site in found] == [level > 5 for level in levels]
    assert rule["fails"] == ["chip", "crack"] and rule["drops"] == 8
    energy = told["failure_energy"]
    assert told["valid"] and abs(energy["value"] - 5.0) < energy["U"]
    # Dixon and Mood 1948 by hand: three failures, all at 5.4 J, less half a step of 0.45 J.
    assert stored.result["figures"]["dixon_mood_j"] == pytest.approx(5.4 - 0.45 / 2)
    assert audit(path) == []
    text = page.write(path, 1, None).read_text(encoding="utf-8")
    assert "Half fail at" in text and "5.4 failed" in text and "8, 3 failed" in text
    assert all(compared.same for compared in recompute(path))


def test_a_drop_that_is_not_valid_is_made_again_at_its_energy(tmp_path: Path) -> None:
    def hook(text: str) -> None:
        if text.startswith("Drop "):
            rig.tower.fault("catch_jammed", on=text.startswith("Drop 2:"))

    rig = VirtualRig()
    with new_book(tmp_path) as book:
        told = staircase(book, rig, hook=hook, drops="6")
        path = book.path
    found = sites(path)
    assert [site["state"] == "not valid" for site in found] == [False, True] + 5 * [False]
    assert found[1]["level_j"] == found[2]["level_j"]
    assert told["drops"] == 6 and "struck 2 times" in told["void"][0]["reasons"][0]


def test_a_power_cut_in_the_middle_changes_nothing(tmp_path: Path) -> None:
    whole, cut = tmp_path / "whole", tmp_path / "cut"
    whole.mkdir()
    cut.mkdir()
    with new_book(whole) as book:
        wanted = staircase(book, VirtualRig(), drops="6")

    def stop(text: str) -> None:
        if text.startswith("Drop 4:"):
            raise KeyboardInterrupt

    with new_book(cut) as book:
        with pytest.raises(KeyboardInterrupt):
            staircase(book, VirtualRig(), hook=stop, drops="6")
        rig = VirtualRig(boot=200)
        runner = Runner(book, benches.load(None), rig.device, Looker(rig, 5.0))
        told = runner.resume(1, scripts.load("staircase_impact"))
    levels = [[site["level_j"] for site in sites(f / "study.logbook")] for f in (whole, cut)]
    assert levels[0] == levels[1] and len(levels[1]) == 6
    assert told["failure_energy"]["value"] == pytest.approx(
        wanted["failure_energy"]["value"], rel=0.01
    )


def test_a_blade_that_never_fails_is_known_as_a_bound(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        told = staircase(book, VirtualRig(), threshold_j=99.0, energy="17 J", drops="20")
        path = book.path
    assert told["censored"] == "right" and told["valid"]
    assert told["drops"] < 20, "it stops where the tower ends"
    top = max(site["level_j"] for site in sites(path))
    assert top < told["failure_energy"]["value"] < top + 0.1 * 17


def test_blades_that_share_a_staircase_take_turns(tmp_path: Path) -> None:
    with new_book(tmp_path) as book:
        told = staircase(book, VirtualRig(), specimen="K3, K4", drops="6")
        path = book.path
    assert told["specimen"] == "K3, K4"
    assert [site["specimen"] for site in sites(path)] == 3 * ["K3", "K4"]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"drops": "3"}, "3 drops tell no failure energy"),
        ({"fails_from": "dent"}, "'dent' is no damage that fails"),
        ({"step": "80%"}, "a step of 80%"),
        ({"energy": "400 J"}, "400 J needs a fall"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(
    tmp_path: Path, given: dict[str, str], words: str
) -> None:
    with new_book(tmp_path) as book, pytest.raises(RigError, match=words):
        staircase(book, VirtualRig(), **given)


def test_a_value_with_an_assumed_scatter_says_beside_it_what_its_interval_is_worth(
    tmp_path: Path,
) -> None:
    shown: list[str] = []
    with new_book(tmp_path) as book:
        told = staircase(book, VirtualRig(), hook=shown.append)
        path = book.path
    last = shown[-1]
    energy = told["failure_energy"]
    assert stated(energy["value"], energy["U"], "J") in last
    text = page.write(path, None, None).read_text(encoding="utf-8")
    verdict = re.search(r'<p class="verdict">(.*?)</p>', text, re.DOTALL)
    caption = re.search(r"<caption>Every staircase(.*?)</caption>", text, re.DOTALL)
    assert verdict is not None and caption is not None
    # By simulation, as in procedures/staircase_impact.md.
    for told_where in (last, verdict[1], caption[1]):
        assert "80 to 87 if twice as much, 65 to 73 if four times" in told_where
    assert "1 of 1 staircase is valid" in verdict[1]


def test_a_bound_has_no_interval_to_warn_of_and_many_drops_find_their_scatter() -> None:
    energy = {"failure_energy": {}}
    figures = {"drops": 20, "sd_j": 0.4}
    result: dict[str, Any] = {"measurands": energy, "figures": figures, "censored": ""}
    assert too_narrow(result) == ""
    assert too_narrow({**result, "figures": {"drops": 19, "sd_j": 0.4}})
    assert too_narrow({**result, "figures": {"drops": 20, "sd_j": None}})
    assert too_narrow({**result, "figures": {"drops": 8, "sd_j": None}, "censored": "right"}) == ""
