"""The bench file: what stands in it, what is missing, and every fault with its line and remedy."""

import json
from pathlib import Path

import pytest

from rig import bench as benches
from rig.cli.main import cli
from rig.tables import FileFaults
from tests.cli.inside import done, typed_in
from tests.guide.rigs import VirtualRig, impact, new_book, run

HEAD = 'name = "mine"\n[tower]\nfixture = "drop_tower"\n'


def faults(folder: Path, text: str, head: str = HEAD) -> list[str]:
    """The faults of a bench file, without its path."""
    path = folder / "bench.toml"
    path.write_text(head + text, encoding="utf-8")
    with pytest.raises(FileFaults) as told:
        benches.load(path)
    return [fault.removeprefix(f"{path}:") for fault in told.value.faults]


def test_a_new_bench_file_says_until_it_is_done_that_the_carriage_is_to_be_weighed(
    tmp_path: Path,
) -> None:
    path = tmp_path / "my bench.toml"
    assert f"bladerig bench check '{path}'" in done("bench", "init", path)
    checked = typed_in("bench", "check", path)
    assert checked.return_value == 1
    assert (
        "the carriage is not weighed: weigh it, and write mass_kg and u_mass_kg" in checked.output
    )
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("# mass_kg", "mass_kg"), encoding="utf-8")
    assert json.loads(typed_in("bench", "check", path, "--json").output)["lacking"]
    path.write_text(text.replace("# mass_kg", "mass_kg").replace("# u_mass", "u_mass"), "utf-8")
    checked = typed_in("bench", "check", path)
    assert checked.return_value == 0 and "in order" in checked.output


def test_on_a_real_board_an_unweighed_carriage_makes_every_drop_an_indication(
    tmp_path: Path,
) -> None:
    rig = VirtualRig()
    rig.device.kind = "port"
    with new_book(tmp_path) as book:
        _, told = run(book, rig, *impact())
        mass = book.runs()[0].versions["bench"]["tower"]["carriage"]
    assert any("the carriage is not weighed" in why for why in told["drops"][0]["indication"])
    assert mass["weighed"] is False


def test_a_weighed_carriage_and_the_virtual_one_are_no_reason(tmp_path: Path) -> None:
    stated = tmp_path / "bench.toml"
    stated.write_text(HEAD + "[tower.carriage]\nmass_kg = 2.01\nu_mass_kg = 0.002\n")
    assert not benches.load(stated).tower.carriage.against
    with new_book(tmp_path) as book:
        _, told = run(book, VirtualRig(), *impact())
    assert not any("weighed" in why for why in told["drops"][0]["indication"])


def test_what_only_the_program_may_say_cannot_be_stated(tmp_path: Path) -> None:
    found = faults(tmp_path, "[tower.carriage]\nweighed = true\n[certificates]\n")
    assert [fault.partition(";")[0] for fault in found] == [
        "5: tower.carriage.weighed: cannot be stated",
        "6: certificates: cannot be stated",
    ]


def test_a_wrong_fixture_hides_no_other_fault(tmp_path: Path) -> None:
    told = faults(
        tmp_path,
        "[tower.carriage]\nmass_kg = 0.05\nmas = 1\n[site]\nlatitude_deg = 99\n",
        head='name = "mine"\n[tower]\nfixture = "drop_towr"\n',
    )
    assert told == [
        "3: tower.fixture: no fixture 'drop_towr'; there is drop_tower",
        "5: tower.carriage.mass_kg: 0.05 must be above 0.1; check the value: it is in kilograms",
        "6: tower.carriage.mas: unknown key; did you mean mass_kg?",
        "8: site.latitude_deg: 99 must be 90.0 or less; check the value: it is in degrees",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[tower.carriage]\nmass_kg = true\n", "5: tower.carriage.mass_kg: true is not a number; "
         "write it like 2.000"),
        ('[tower.carriage]\nmass_kg = "2 kg"\n', "5: tower.carriage.mass_kg: '2 kg' is not a "
         "number; write it like 2.000"),
        ("[tower.carriage]\nmass_kg = 1.4\nu_mass_kg = 1.3\n", "4: tower.carriage: u_mass_kg = 1.3 "
         "is more than half of mass_kg = 1.4; it is the standard uncertainty, in the same unit"),
        ("[tower.carriage]\nmass_kg = 1.4\nu_mass_kg = 0.1\n", "4: tower.carriage: u_mass_kg = 0.1 "
         "is more than a twentieth of mass_kg = 1.4; weigh the carriage on a better scale"),
        ("[tower.carriage]\nmass_kg = 2,0\n", "5: mass_kg = 2,0: a decimal comma; write the number "
         "with a point"),
        ("[site]\n[site]\n", "5: [site]: stands here for the second time; keep one"),
        ("[site]\nelevation_m = 1\nelevation_m = 2\n", "6: elevation_m = 2: stands here for the "
         "second time"),
        ("[site]\nelevation_m\n", "5: elevation_m: Expected '=' after a key in a key/value pair; "
         "each line is like  key = value"),
    ],
)  # fmt: skip
def test_each_fault_has_its_line_and_a_remedy(tmp_path: Path, text: str, told: str) -> None:
    (fault,) = faults(tmp_path, text)
    assert fault.startswith(told)


def test_programs_get_the_faults_as_a_list(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from rig.cli.ending import ended

    path = tmp_path / "bench.toml"
    path.write_text("name = 3\n")
    monkeypatch.setattr("sys.argv", ["bladerig", "bench", "check", str(path), "--json"])
    assert ended(cli) == 2
    told = json.loads(capsys.readouterr().out)["error"]
    assert len(told["faults"]) == 2 and f"{path}:1: name: 3 is not text" in told["faults"][1]
    monkeypatch.setattr("sys.argv", ["bladerig", "runs", "nowhere.logbook", "--json"])
    assert ended(cli) == 2
    assert json.loads(capsys.readouterr().out)["error"] == {
        "what": "no such logbook", "where": "nowhere.logbook", "remedy": "check the path",
    }  # fmt: skip
