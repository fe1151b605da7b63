"""Every mistake is one clear line with exit code 2, and nothing is lost."""

import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click
import pytest

from rig.cli.main import cli
from rig.logbook import Logbook
from tests.cli.commands import ROOT
from tests.cli.inside import done, refused, typed_in

RUN = ("run", "drop_impact")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "b.logbook"
    Logbook.create(path, title="b").close()
    return path


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("energy=5", "specimen=K3"), "energy: "),
        (("energy=5,5 J", "specimen=K3"), "5.5"),
        (("energy=5 m", "specimen=K3"), "energy"),
        (("energy=-5 J", "specimen=K3"), "energy"),
        (("energy=nan J", "specimen=K3"), "energy"),
        (("specimen=K3",), "energy: is needed"),
        (("energi=5J",), "did you mean energy?"),
        (("energy",), "is not NAME=VALUE"),
        (("energy=5J", "drops=two"), "drops: 'two' is not a whole number"),
        (("energy=5J", "drops=-1"), "drops: -1 is too few; write a count like 5"),
        (("energy=5J", "tolerance=300%"), "tolerance: "),
        (("energy=1e99J",), "1e+99 J needs a fall of more than 100 m; this tower reaches"),
        (("energy=900J", "specimen=K3"), "this tower reaches 0.9 m"),
        (("energy=5J", "specimen=K3", "--port", "/dev/ttyNOWHERE"), "no such port"),
        (("energy=5J", "specimen=K3", "--bench", "/nowhere/bench.toml"), "no such file"),
        (("energy=5J", "--resume"), "no unfinished run"),
        (("energy=5J", "energy=6J"), "energy is given twice"),
    ],
)
def test_run_refuses_in_one_line(book: Path, args: tuple[str, ...], told: str) -> None:
    virtual = () if "--port" in args else ("--virtual",)
    line = refused(*RUN, book, *args, *virtual, typed="\n" * 50)
    assert told in line


def test_an_unknown_procedure_is_named_with_those_there_are(book: Path) -> None:
    assert "drop_impact" in refused("run", "dorp_impact", book, "--virtual")


def test_a_script_with_a_fault_is_named_with_its_line(book: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine.py"
    mine.write_text("x = 1\nimport nowhere_at_all\n")
    assert f"{mine}:2: " in refused("run", mine, book, "--virtual")


def test_all_faults_of_a_bench_file_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text('name = 3\n[tower]\nfixture = "drop_tower"\n[tower.travel]\nmax_dorp_m = 1\n')
    told = str(typed_in("bench", "check", path).exception)
    assert f"{path}:1: name: 3 is not text" in told
    assert f"{path}:5: tower.travel.max_dorp_m: unknown key; did you mean max_drop_m?" in told


@pytest.mark.parametrize("command", ["audit", "report", "runs", "recompute"])
def test_no_logbook_there(command: str, tmp_path: Path) -> None:
    assert "nothing.logbook" in refused(command, tmp_path / "nothing.logbook")


@pytest.mark.parametrize("command", ["report", "runs", "recompute"])
def test_a_file_that_is_no_logbook(command: str, tmp_path: Path) -> None:
    path = tmp_path / "notes.logbook"
    path.write_text("dear diary")
    assert "notes.logbook" in refused(command, path)


def test_a_text_file_is_audited_with_a_remedy_that_is_not_the_audit(tmp_path: Path) -> None:
    path = tmp_path / "notes.logbook"
    path.write_text("dear diary")
    told = typed_in("audit", path)
    assert told.return_value == 1 and told.output.splitlines()[-1].endswith(": 1 finding")
    assert "is not a logbook" in told.output and "run the audit" not in told.output


def test_a_mistyped_fingerprint_is_called_mistyped(book: Path) -> None:
    assert "'rubbish' is mistyped" in refused("audit", book, "--printed", "rubbish")
    head = json.loads(done("audit", book, "--json"))["fingerprint"]
    assert "sound" in done("audit", book, "--printed", f" {head.upper()} ")


def test_a_second_writer_is_refused_and_named(book: Path) -> None:
    with Logbook.open(book, writable=True):
        line = refused(*RUN, book, "energy=5J", "--virtual")
    assert str(book) in line


def test_a_clock_set_back_stops_the_run_until_someone_says_why(tmp_path: Path) -> None:
    path = tmp_path / "b.logbook"
    ahead = datetime.now(UTC) + timedelta(hours=3)
    Logbook.create(path, title="b", now=lambda: ahead).close()
    args = (*RUN, path, "energy=5J", "specimen=K3", "--virtual")
    line = refused(*args, typed="none\n\n" * 200)
    assert "clock was set back" in line and "--accept-clock" in line
    done(*args, "--accept-clock", "summer time", typed="none\n\n" * 200)
    assert "sound" in done("audit", path)


def test_bench_init_never_writes_over_a_file(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    done("bench", "init", path)
    assert "is there already" in refused("bench", "init", path)


def test_a_bench_file_is_not_written_into_a_folder_that_is_missing(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    for folder in ("nowhere", "file"):
        line = refused("bench", "init", tmp_path / folder / "bench.toml")
        assert line == f"{tmp_path / folder}: no such folder; make it first, or name another"


def test_tables_are_not_exported_into_a_file(book: Path, tmp_path: Path) -> None:
    (tmp_path / "tables").write_text("mine")
    for out in (tmp_path / "tables", tmp_path / "tables" / "more"):
        line = refused("export", book, "--out", out)
        assert line.startswith(f"{tmp_path / 'tables'}: is a file; name a folder")
    assert (tmp_path / "tables").read_text() == "mine"


def test_a_page_is_not_written_where_a_folder_is_or_where_none_is(
    book: Path, tmp_path: Path
) -> None:
    assert "is a folder; name a file in it" in refused("report", book, "--out", tmp_path)
    line = refused("report", book, "--out", tmp_path / "nowhere" / "page.html")
    assert line == f"{tmp_path / 'nowhere'}: no such folder; make it first, or name another"


def test_a_demo_is_not_written_into_a_file_nor_drawn_from_a_seed_below_zero(
    tmp_path: Path,
) -> None:
    (tmp_path / "afile").touch()
    assert "is a file; name a folder" in refused("demo", "--out", tmp_path / "afile")
    error = typed_in("demo", "--seed", "-1", "--out", tmp_path / "d").exception
    assert isinstance(error, click.UsageError) and "-1" in str(error)
    assert not (tmp_path / "d").exists()


def test_a_folder_is_no_bench_file_and_no_port(tmp_path: Path) -> None:
    line = str(typed_in("bench", "check", tmp_path).exception)
    assert f"{tmp_path}: cannot be read (" in line and "Errno" not in line
    assert "not a serial port" in refused("board", "flash", "--port", tmp_path)
    assert "no such port" in refused("board", "flash", "--port", "")


def test_writing_firmware_is_not_said_to_be_under_way_where_there_is_no_port() -> None:
    result = typed_in("board", "flash", "--port", "/dev/ttyNOWHERE")
    assert "no such port" in str(result.exception) and "writing" not in result.output


def _commands(group: click.Command, name: str = "") -> list[tuple[str, click.Command]]:
    if isinstance(group, click.Group):
        return [
            found
            for key, command in group.commands.items()
            for found in _commands(command, f"{name} {key}".strip())
        ]
    return [(name, group)]


@pytest.mark.parametrize(("name", "command"), _commands(cli), ids=str)
def test_every_command_has_help_with_an_example(name: str, command: click.Command) -> None:
    text = command.help or ""
    assert "Example" in text and f"bladerig {name}" in text
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{name}: {parameter.name} is not explained"


def test_help_needs_none_of_the_heavy_libraries() -> None:
    told = "import sys, rig.cli; print([m for m in ('numpy', 'scipy', 'pydantic', 'matplotlib', "
    told += "'pandas', 'pyfirmata2', 'rich', 'jinja2', 'sqlite3') if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", told], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"
