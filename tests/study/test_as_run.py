"""Trials as the procedures write them, through the virtual rig, into a study's comparison."""

from pathlib import Path

from rig import bench as benches
from rig.bench import Bench
from rig.study.answers.whole import unsealed
from tests.guide.rigs import VirtualRig, impact, run
from tests.study.books import begin, record

ANSWERS = {"damage": ["roll"], "depth": ["0.2 mm"], "width": ["1 mm"], "u": ["0.02 mm"]}
ASKED = ["energy_not_returned", "impact_damage"]


def certified() -> Bench:
    """A bench whose height certificate holds."""
    bench = benches.load(None)
    holds = {"height": {"certificate": None, "against": []}}
    return bench.model_copy(update={"certificates": holds})


def test_drops_on_the_virtual_rig_count_by_code_and_those_without_certificate_do_not(
    tmp_path: Path,
) -> None:
    made = begin(tmp_path / "s.logbook", record({"A": 2, "B": 1}, ASKED), device="virtual")
    rig = VirtualRig()
    for blade, bench in (("A1", certified()), ("A2", certified()), ("B1", benches.load(None))):
        run(made.book, rig, *impact(specimen=made.code[blade]), bench=bench, answers=ANSWERS)
    made.unseal("one blade is left out")
    made.book.close()
    energy, damage = unsealed(made.book.path).answers
    for one, low, high in ((energy, 3.0, 5.1), (damage, 0.2, 0.2)):
        assert {seen.blade for seen in one.data.observations} == {"A1", "A2"}
        assert all(low <= seen.value <= high for seen in one.data.observations)
        assert all(seen.u > 0 for seen in one.data.observations)
        (left,) = one.excluded
        assert left.trial.startswith(made.code["B1"])
        assert any("an indication only" in reason for reason in left.reasons)
