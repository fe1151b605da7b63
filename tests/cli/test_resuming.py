"""A run goes on only as it was begun: same rig, same settings, same bench."""

from pathlib import Path

import pytest

from rig.guide import runner
from rig.logbook import Logbook
from rig.session.wish import Stopped
from tests.cli.inside import done, real_board, refused, script, typed_in

ASKING = 'answer = yield Ask("how much?", key="much")\nreturn {"much": answer["value"]}'
WEIGHT = '(Parameter("piece", "text", None, "?"), Parameter("least", "mass", "2 kg", "?"))'


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    return script(tmp_path, ASKING, parameters=WEIGHT)


@pytest.fixture
def book(mine: Path, tmp_path: Path) -> Path:
    """A logbook whose run on the virtual rig stopped at its first question."""
    path = tmp_path / "b.logbook"
    told = refused("run", mine, path, "piece=anvil", "--virtual")
    assert "--resume goes on" in told
    return path


def test_a_run_begun_on_a_board_is_not_finished_on_the_virtual_rig(
    mine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real_board(monkeypatch)
    path = tmp_path / "b.logbook"
    refused("run", mine, path, "piece=anvil")
    line = refused("run", mine, path, "--resume", "--virtual", typed="3\n")
    assert "begun on a board on a port, this is the virtual rig" in line
    assert "without --virtual" in line
    with Logbook.open(path, writable=False) as kept:
        assert len(kept.unfinished_runs()) == 1


def test_a_practice_run_is_not_finished_on_a_board(mine: Path, book: Path) -> None:
    line = refused("run", mine, book, "--resume", "--port", "/dev/ttyNOWHERE")
    assert "begun on the virtual rig" in line and "with --virtual" in line


def test_the_runner_itself_refuses_another_kind_of_rig(
    mine: Path, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rig import bench as benches
    from rig.errors import RigError
    from rig.guide import script as scripts
    from tests.guide.rigs import VirtualRig

    rig = VirtualRig()
    rig.device.kind = "port"
    with Logbook.open(book, writable=True) as kept, pytest.raises(RigError, match="was begun on"):
        runner.Runner(kept, benches.load(None), rig.device, rig.operator()).resume(
            1, scripts.load(str(mine))
        )


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("piece=hammer", "--resume"), "begun with piece=anvil, not piece=hammer"),
        (("least=3 kg", "--resume"), "begun with least=2 kg, not least=3 kg"),
        (("least=rubbish", "--resume"), "least: "),
        (("nosuch=1", "--resume"), "no such parameter 'nosuch'"),
        (("piece=hammer",), "begun with piece=anvil, not piece=hammer"),
        (("piece=anvil",), "run 1 (mine least=2 kg, piece=anvil) on the virtual rig (practice)"),
        (("piece=anvil", "--resume", "--abandon", "x"), "exclude each other"),
        (("piece=anvil", "--abandon", ""), "--abandon needs a reason"),
        (("piece=anvil", "--accept-clock", " "), "--accept-clock needs a reason"),
    ],
)
def test_other_settings_than_the_runs_own_are_refused_by_name(
    mine: Path, book: Path, given: tuple[str, ...], told: str
) -> None:
    assert told in refused("run", mine, book, *given, "--virtual", typed="3\n")


def test_the_runs_own_settings_may_be_repeated_or_left_out(mine: Path, book: Path) -> None:
    args = ("run", mine, book, "least=2000 g", "--resume", "--virtual")
    assert "Going on with run 1 (mine least=2 kg, piece=anvil) on" in done(*args, typed="3\n")


def test_another_bench_is_refused_and_a_changed_one_is_told(
    mine: Path, book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "bench.toml"
    other.write_text('name = "design bench"\n[tower.carriage]\nmass_kg = 3.0\n')
    args = ("run", mine, book, "--resume", "--virtual")
    line = refused(*args, "--bench", other)
    assert "begun with another bench: tower.carriage.mass_kg" in line
    monkeypatch.chdir(tmp_path)  # bench.toml here is the bench when none is named
    told = typed_in(*args, typed="3\n")
    assert told.exception is None
    assert "it goes on with the old one" in told.output


def test_a_setting_given_twice_is_refused(mine: Path, tmp_path: Path) -> None:
    line = refused("run", mine, tmp_path / "b", "piece=a", "piece=b", "--virtual")
    assert line.startswith("piece is given twice")


def test_runs_names_what_to_type_with_quotes_rig_and_script(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    folder = Path("my shop")
    folder.mkdir()
    mine = script(folder, ASKING)
    path = folder / "my blades.logbook"
    refused("run", mine, path, "--virtual")
    (line,) = done("runs", path).splitlines()
    command = "bladerig run './my shop/mine.py' 'my shop/my blades.logbook' --resume --virtual"
    assert line.endswith(f"VIRTUAL RIG  unfinished: {command}")


def test_ctrl_c_names_what_goes_on(
    mine: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("rig.guide.performer.Performer.perform", stop)
    error = typed_in("run", mine, tmp_path / "b.logbook", "piece=x", "--virtual").exception
    assert isinstance(error, Stopped)
    assert "the rig was disarmed. Go on with: bladerig run" in str(error)


def test_no_logbook_is_made_when_no_board_answers(mine: Path, tmp_path: Path) -> None:
    path = tmp_path / "b.logbook"
    assert "no such port" in refused("run", mine, path, "piece=x", "--port", "/dev/ttyNOWHERE")
    assert not path.exists()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ("energy=0.5J", "below 0.6 J"),
        ("energy=0.599J", "below 0.6 J"),
        ("energy=0J", "too little"),
        ("energy=-5J", "too little"),
        ("energy=900J", "this tower reaches 0.9 m"),
        ("drops=0", "0 drops measure nothing"),
    ],
)
def test_what_no_tower_can_do_is_refused_before_anything_is_begun(
    tmp_path: Path, given: str, told: str
) -> None:
    path = tmp_path / "b.logbook"
    energy = () if given.startswith("energy") else ("energy=5J",)
    assert told in refused("run", "drop_impact", path, "specimen=K", given, *energy, "--virtual")
    assert not path.exists()


def test_an_unfinished_run_without_settings_is_told_without_a_stray_mark(tmp_path: Path) -> None:
    path, calibrating = tmp_path / "b.logbook", ("calibrate", "height", "--virtual", "--logbook")
    refused(*calibrating, path)
    line = refused(*calibrating, path)
    assert "run 1 (calibrate_height) on the virtual rig (practice) is unfinished; add" in line


def test_an_answer_that_never_came_is_told_with_what_to_do(mine: Path, book: Path) -> None:
    line = refused("run", mine, book, "--resume", "--virtual", typed="\n" * 1000)
    assert line.startswith("no usable answer in 20 tries to: ")
    assert line.endswith("; go on with the same command and --resume")
