"""A user's own sizes in bench.toml: checked as a whole, refused in one line each."""

from pathlib import Path

import pytest

from rig.errors import RigError
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


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[pry.parts.layout]\nhole_radius = 12\n", "has no room for the arm's cheeks and a stop"),
        ("[tower.parts.layout]\npad_e_mpa = 0\n", "pad_e_mpa: 0 cannot be; the design has 10"),
        ("[frame.parts.layout]\ncrank = -77\n", "crank: -77 cannot be; the design has 77"),
        ("[twist.parts.layout]\nland_y = 187\n", "land_y: 187 cannot be; the design has -187"),
        ("[tower.parts.piece.rod]\nsize_mm = [16, 0, 1500]\n", "0"),
        ('[tower.parts.layout]\ncontact = "270"\n', "is not a number"),
        ("[tower.parts.piece.rod]\nsize = 3\n", "unknown key"),
        ("[tower]\nparts = 3\n", "parts"),
    ],
)
def test_a_figure_that_cannot_be_is_one_line_with_its_place(
    tmp_path: Path, text: str, words: str
) -> None:
    path = tmp_path / "bench.toml"
    path.write_text('name = "mine"\n' + text + ("" if "[tower]" in text else "[tower]\n"), "utf-8")
    error = typed_in("bench", "check", path).exception
    assert isinstance(error, RigError), error
    assert words in str(error)
