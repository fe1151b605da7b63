"""The page of a run: what a sceptic must find on it, and that it stands alone."""

import errno
import json
import re
import sqlite3
from contextlib import closing
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

from rig import bench as benches
from rig.guide.runner import Runner
from rig.logbook import Logbook
from rig.report.ink import degrees, quantity
from rig.report.page import write
from rig.report.writing import whole
from tests.cli.commands import ROOT
from tests.cli.inside import done, script, typed_in
from tests.guide.rigs import VirtualRig, cable_pulled_once, impact, run


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))


def jammed(rig: VirtualRig, text: str) -> None:
    """The catch sticks at the second drop."""
    if text.startswith("Drop "):
        rig.tower.fault("catch_jammed", on=text.startswith("Drop 2:"))


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two valid drops, and between them one that struck twice."""
    path = tmp_path_factory.mktemp("page") / "two blades.logbook"
    with Logbook.create(path, title="two") as made:
        run(made, VirtualRig(hook=jammed), *impact(drops="2"))
    return path


@pytest.fixture(scope="module")
def page(book: Path) -> str:
    return write(book, None, None).read_text(encoding="utf-8")


def test_the_verdict_comes_before_everything_else(page: str) -> None:
    assert page.index("2 of 3 drops are valid") < page.index("<table>")
    assert "virtual rig: practice" in page


def test_it_stands_alone_and_loads_nothing(page: str) -> None:
    tags = _Tags()
    tags.feed(page)
    for tag, attributes in tags.seen:
        assert tag not in {"script", "link", "iframe"}
        for name in ("src", "href"):
            address = attributes.get(name)
            assert address is None or address.startswith("data:image/svg+xml")


def test_every_picture_tells_those_who_cannot_see_it(page: str) -> None:
    tags = _Tags()
    tags.feed(page)
    pictures = [attributes for tag, attributes in tags.seen if tag == "img"]
    assert len(pictures) == 4, "three drops and the chart of the tower"
    assert all(len(attributes["alt"] or "") > 40 for attributes in pictures)


def test_value_uncertainty_budget_reasons_and_fingerprints_are_all_there(
    page: str, book: Path
) -> None:
    for wanted in (
        "struck 2 times", "energy not returned (upper bound", "board&#39;s clock", "mass", "share",
        "What this page cannot say", "No impact force is reported", "SHA-256",
    ):  # fmt: skip
        assert wanted in page, wanted
    with Logbook.open(book, writable=False) as kept:
        assert kept.head_fingerprint() in page
    assert len(re.findall(r">[0-9a-f]{64}<", page)) == 8, "one for each record of raw frames"


def test_a_drop_without_a_strike_is_counted_once_and_states_no_energy(tmp_path: Path) -> None:
    def lose_the_fall(rig: VirtualRig, text: str) -> None:
        if text.startswith("K3 drop 1:"):  # nothing of the fall arrives
            rig.tower.schedule(rig.tower.now_s + 0.5, lambda: rig.board.fault("lose_bytes", 1.0))
            rig.tower.schedule(rig.tower.now_s + 1.4, lambda: rig.board.fault("lose_bytes", 0))

    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="b") as book:
        _, told = run(book, VirtualRig(hook=lose_the_fall), *impact(spare="0"))
    assert told["drops"][0]["valid"] is False and told["drops"][0]["energy_j"] is None
    said = json.loads(done("report", path, "--json", "--out", tmp_path / "p.html"))
    assert said["verdict"].startswith("0 of 1 drop is valid.")


def test_an_empty_drop_without_a_strike_says_that_it_has_no_speed(tmp_path: Path) -> None:
    def lose_the_fall(rig: VirtualRig, text: str) -> None:
        if text.startswith("empty drop 1:"):
            rig.tower.schedule(rig.tower.now_s + 0.5, lambda: rig.board.fault("lose_bytes", 1.0))
            rig.tower.schedule(rig.tower.now_s + 1.4, lambda: rig.board.fault("lose_bytes", 0))

    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="b") as book:
        run(book, VirtualRig(hook=lose_the_fall), *impact())
    text = write(path, None, None).read_text(encoding="utf-8")
    table = text[text.index("Empty drops of this run") :].split("</table>")[0]
    assert table.count("none can be stated") == 1


def test_a_printed_page_can_be_checked_against_the_logbook(book: Path, page: str) -> None:
    (command,) = re.findall(r"bladerig audit (.*?)<br>", page)
    name, _, printed = unescape(command).rpartition(" --printed ")
    assert name == "'two blades.logbook'", "quoted, so that it can be typed"
    told = done("audit", book, "--printed", printed)
    assert "sound" in told and f"all up to the printed row {printed.partition('-')[0]}" in told
    forged = typed_in("audit", book, "--printed", "9999-0000-0000-0000-0000")
    assert forged.return_value == 1


def test_sound_says_what_it_cannot_see(book: Path) -> None:
    told = done("audit", book)
    assert "sound" in told and "written anew as a whole, do not show" in told
    assert "--printed" in told and "--signed" in told
    assert json.loads(done("audit", book, "--json"))["fingerprint"] in told


def test_an_interrupted_and_unrecorded_drop_is_on_the_page(tmp_path: Path) -> None:
    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="b <b>bold</b>") as made:
        run(made, VirtualRig(hook=cable_pulled_once()), *impact())
    page = write(path, None, None).read_text(encoding="utf-8")
    assert "the line to the board: connected again" in page
    assert "<b>bold</b>" not in page, "text from people is never markup"


def test_a_reason_stands_with_the_name_by_which_the_procedures_page_explains_it(page: str) -> None:
    assert "[second_strike]" in page
    assert "| `second_strike` |" in (ROOT / "procedures" / "drop_impact.md").read_text("utf-8")


def test_the_page_speaks_to_a_plain_reader(page: str) -> None:
    for wanted in (
        "energy: 5 J", "tolerance: 3%", "allow second strike: no", "the virtual rig (practice)",
        "not for one drop against another",
    ):  # fmt: skip
        assert wanted in page, wanted
    for jargon in ("s/s", "SI units", "time base</td>", "e+"):
        assert jargon not in re.sub(r"data:image[^\"]*", "", page), jargon


def test_an_unrecorded_drop_stands_where_it_was_made(tmp_path: Path) -> None:
    rig = VirtualRig()
    act = rig.device.hands.act if rig.device.hands else None
    assert act is not None and rig.device.hands is not None

    def press(hand: str, detail: object) -> float:
        if hand == "press" and len(rig.tower.truth) == 5:  # the blade's first drop
            raise KeyboardInterrupt
        return act(hand, detail)  # type: ignore[arg-type]

    rig.device.hands.act = press  # type: ignore[method-assign]
    script, params = impact()
    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="b") as made:
        with pytest.raises(KeyboardInterrupt):
            run(made, rig, script, params)
        again = VirtualRig(boot=2)
        Runner(made, benches.load(None), again.device, again.operator()).resume(1, script)
    page = write(path, None, None).read_text(encoding="utf-8")
    first, second = page.index("<td>K3 drop 1</td>"), page.index("<td>K3 drop 2</td>")
    assert first < second
    assert "the program was stopped after the permit" in page
    assert "K3 drop 1: permitted, and nobody recorded whether the carriage fell" in page


def changed(book: Path, to: Path, old: bytes, new: bytes) -> Path:
    """A copy of the logbook with some bytes changed."""
    content = book.read_bytes()
    assert old in content and len(old) == len(new)
    to.write_bytes(content.replace(old, new))
    return to


def test_a_changed_logbook_is_told_on_page_table_and_terminal(book: Path, tmp_path: Path) -> None:
    forged = changed(book, tmp_path / "f.logbook", b'"kind":"none"', b'"kind":"nonE"')
    said = done("report", forged, "--json", "--out", tmp_path / "p.html")
    assert "WAS CHANGED AFTER IT WAS WRITTEN" in json.loads(said.splitlines()[-1])["warning"]
    page = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert page.index("WAS CHANGED AFTER IT WAS WRITTEN") < page.index('class="verdict"')
    assert "WAS CHANGED AFTER" in done("report", forged, "--out", tmp_path / "p.html")
    assert "WAS CHANGED AFTER" in done("export", forged, "--out", tmp_path / "t")
    assert "WAS CHANGED AFTER" in (tmp_path / "t" / "trials.csv").read_text(encoding="utf-8")
    assert "CHANGED" not in done("report", book, "--out", tmp_path / "p.html")


@pytest.mark.parametrize("kind", ["text", "database"])
@pytest.mark.parametrize("command", ["report", "compare", "recompute", "export", "audit"])
def test_a_file_that_is_no_logbook_is_not_called_a_changed_one(
    tmp_path: Path, kind: str, command: str
) -> None:
    path = tmp_path / "shopping.txt"
    path.write_text("milk, bread")
    if kind == "database":
        path.unlink()
        with closing(sqlite3.connect(path)) as other, other:
            other.execute("CREATE TABLE milk (bottles)")
    more = ("--out", tmp_path / "t") if command == "export" else ()
    result = typed_in(command, path, *more)
    said = f"{result.output}{result.exception or ''}"
    assert "is not a logbook" in said and "CHANGED" not in said
    assert len(said.strip().splitlines()) == (2 if command == "audit" else 1), said


def test_what_a_script_of_ones_own_asked_and_noted_is_on_its_page(tmp_path: Path) -> None:
    mine = script(
        tmp_path,
        'mass = yield Ask("What does it read?", key="mass", kind="mass")\n'
        'yield Note("m", kind="mass", body={"mass_kg": mass["value"]})\n'
        'yield Note("odd", kind="odd", body={"said": "good"})',
    )
    done("run", mine, tmp_path / "b.logbook", "--virtual", typed="12 kg\n")
    page = write(tmp_path / "b.logbook", None, None).read_text(encoding="utf-8")
    assert "<th>What does it read?</th><td>12 kg</td>" in page
    assert "<th>mass: mass</th><td>12 kg</td>" in page


def test_a_page_that_cannot_be_written_names_its_file_and_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "p.html"
    target.write_text("old")

    def full(self: Path, text: str, **_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OSError, match="No space left") as told:
        whole(target, "new")
    assert told.value.filename == str(target)
    assert target.read_text() == "old" and list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize(
    ("value", "expanded", "told"),
    [
        (5.0004, 0.0163, "5.000 ± 0.016 J"),
        (123.4, 25.0, "123 ± 25 J"),
        (0.5, 0.0994, "0.500 ± 0.099 J"),
        (12345.0, 1234.0, "12300 ± 1200 J"),
    ],
)
def test_a_value_is_rounded_to_the_second_digit_of_its_uncertainty(
    value: float, expanded: float, told: str
) -> None:
    # GUM 7.2.6: at most two significant digits of the uncertainty, the value to the same place.
    assert quantity({"value": value, "U": expanded, "unit": "J"}) == told


def test_a_ratio_has_no_unit_and_many_degrees_of_freedom_are_not_counted() -> None:
    assert quantity({"value": 0.27351, "U": 0.00671, "unit": "1"}) == "0.2735 ± 0.0067"
    assert [degrees(dof) for dof in (3.21e11, 1000, 7.25, None)] == [
        "over 1,000", "1e+03", "7.25", "not limited",
    ]  # fmt: skip


def test_exported_tables_explain_every_column_and_say_all_of_a_trial(
    book: Path, tmp_path: Path
) -> None:
    import pandas as pd

    done("export", book, "--out", tmp_path / "t")
    columns = pd.read_csv(tmp_path / "t" / "columns.csv")
    tables = {name: pd.read_csv(tmp_path / "t" / name) for name in ("trials.csv", "results.csv",
                                                                    "traces.csv")}  # fmt: skip
    for name, table in tables.items():
        assert list(table.columns) == list(columns[columns.file == name].column)
        assert set(table.rig) == {"virtual"} and set(table.run_id) == {1}
    trials = tables["trials.csv"]
    assert list(trials.valid) == [True, False, True]
    assert set(trials.specimen) == {"K3"} and set(trials.asked_energy_j) == {5.0}
    assert set(trials.damage) == {"none"} and trials.at_utc.str.contains("Z").all()
    assert "struck 2 times" in trials.reasons[1]
    results = tables["results.csv"]
    energy = results[(results.trial == "K3 drop 1") & (results.measurand == "impact_energy")]
    assert energy.value.item() == pytest.approx(5, rel=0.01)
    assert len(tables["traces.csv"]) > 1000


@pytest.mark.parametrize("name", ["run.html", "certificate.html"])
def test_on_a_narrow_screen_wide_tables_scroll_and_show_that_there_is_more(name: str) -> None:
    text = (ROOT / "rig" / "report" / name).read_text(encoding="utf-8")
    narrow = re.search(r"@media screen and \(max-width: 42rem\) \{(.*?)\n\}", text, re.DOTALL)
    assert narrow is not None
    assert "overflow-x: auto" in narrow[1]
    assert narrow[1].count("no-repeat scroll") == 2, "a shadow at either edge of the table"
