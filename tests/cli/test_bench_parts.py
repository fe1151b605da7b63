"""A user's own sizes in bench.toml: checked as a whole, refused in one line each."""

from pathlib import Path

from tests.cli.inside import typed_in

HEAD = 'name = "mine"\n[tower.carriage]\nmass_kg = 2.0\nu_mass_kg = 0.003\n'


def told(tmp_path: Path, text: str) -> tuple[int, str]:
    path = tmp_path / "bench.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    result = typed_in("bench", "check", path)
    return result.exit_code, str(result.exception or "") + result.output


def test_a_bench_without_sizes_of_its_own_is_in_order(tmp_path: Path) -> None:
    code, said = told(tmp_path, "")
    assert code == 0 and "in order" in said


def test_a_changed_size_that_does_not_close_is_refused_with_the_reason(tmp_path: Path) -> None:
    code, said = told(tmp_path, "[tower.parts.piece.rod]\nsize_mm = [16, 16, 1200]\n")
    assert code != 0
    assert "bench.toml: tower: rods of 1200 mm leave 628 mm of drop" in said


def test_a_changed_size_that_closes_is_in_order(tmp_path: Path) -> None:
    code, said = told(
        tmp_path,
        "[tower.travel]\nmax_drop_m = 0.8\n"
        "[tower.parts.piece.base]\nsize_mm = [320, 420, 20]\n"
        "[pry.parts.layout]\naxis_high = 380.0\n",
    )
    assert (code, "in order" in said) == (0, True), said


def test_an_unknown_part_is_told_with_its_line(tmp_path: Path) -> None:
    code, said = told(tmp_path, "[tower.parts.piece.rodd]\nsize_mm = [16, 16, 1200]\n")
    assert code != 0 and "bench.toml:5: tower.parts.piece.rodd: unknown key" in said
