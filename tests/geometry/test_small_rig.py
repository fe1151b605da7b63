"""The smaller rig closes as the full one does, and its page tells its own figures."""

from rig import bench as benches
from rig.drawings import lists
from rig.geometry import closure
from tests.fixtures.pages import FIXTURES, table

FILE = FIXTURES / "small_rig" / "bench.toml"


def test_the_smaller_rig_closes() -> None:
    assert closure.faults(benches.load(FILE), closure.of_bench(FILE)) == []


def test_its_page_tells_its_own_figures_and_the_full_rig_s() -> None:
    rows = {row[0]: row[1:] for row in table(FILE.parent / "README.md", "what")}
    for place, (bench, parts) in enumerate((
        (benches.load(FILE), closure.of_bench(FILE)),
        (benches.load(None), closure.design()),
    )):  # fmt: skip
        made = closure.assembled(bench, parts)
        for name in ("tower", "frame"):
            cost = lists.parts_eur(parts[name], made[name])
            assert rows[f"parts of the {name}"][place] == f"{cost:.0f} EUR"
        drop, mass = bench.tower.travel.max_drop_m, bench.tower.carriage.mass_kg
        energy = mass * parts["tower"].layout["a_m_s2"] * drop
        assert rows["highest drop"][place] == f"{1000 * drop:.0f} mm, {energy:.1f} J"
        springs = parts["tower"].layout["spring_n"]
        assert rows["catch, disc springs"][place] == f"{springs:.0f} N"
