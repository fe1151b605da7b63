"""The page of a run: what a sceptic must find on it, and that it stands alone."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from rig.logbook import Logbook
from rig.report.page import quantity
from tests.cli.commands import ROOT, bladerig
from tests.guide.rigs import VirtualRig, cable_pulled_once, impact, run


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    done = bladerig("demo", "--json", "--out", tmp_path_factory.mktemp("demo"))
    told: dict[str, Any] = json.loads(done.stdout)
    return told


@pytest.fixture(scope="module")
def page(demo: dict[str, Any]) -> str:
    return Path(demo["report"]).read_text(encoding="utf-8")


def test_the_verdict_comes_before_everything_else(page: str) -> None:
    assert page.index("3 of 4 drops are valid") < page.index("<table>")
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
    assert len(pictures) == 5, "four drops and the chart of the tower"
    assert all(len(attributes["alt"] or "") > 40 for attributes in pictures)


def test_value_uncertainty_budget_reasons_and_fingerprints_are_all_there(
    page: str, demo: dict[str, Any]
) -> None:
    for wanted in (
        "struck 2 times", "energy not returned (upper bound", "time base", "mass", "share",
        "What this page cannot say", "No impact force is reported", "SHA-256",
    ):  # fmt: skip
        assert wanted in page, wanted
    with Logbook.open(demo["logbook"], writable=False) as book:
        assert book.head_fingerprint() in page
    assert len(re.findall(r">[0-9a-f]{64}<", page)) == 9, "one for each record of raw frames"


def test_a_drop_without_a_strike_is_counted_once_and_states_no_energy(tmp_path: Path) -> None:
    def lose_the_fall(rig: VirtualRig, text: str) -> None:
        if text.startswith("K3 drop 1:"):  # nothing of the fall arrives
            rig.tower.schedule(rig.tower.now_s + 0.5, lambda: rig.board.fault("lose_bytes", 1.0))
            rig.tower.schedule(rig.tower.now_s + 1.4, lambda: rig.board.fault("lose_bytes", 0))

    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="b") as book:
        _, told = run(book, VirtualRig(hook=lose_the_fall), *impact(spare="0"))
    assert told["drops"][0]["valid"] is False and told["drops"][0]["energy_j"] is None
    said = json.loads(bladerig("report", path, "--json", "--out", tmp_path / "p.html").stdout)
    assert said["verdict"].startswith("0 of 1 drops")


def test_a_printed_page_can_be_checked_against_the_logbook(demo: dict[str, Any]) -> None:
    with Logbook.open(demo["logbook"], writable=False) as book:
        fingerprint = book.head_fingerprint()
    good = bladerig("audit", demo["logbook"], "--printed", fingerprint)
    assert good.returncode == 0, good.stdout
    forged = bladerig("audit", demo["logbook"], "--printed", "9999-0000-0000-0000-0000")
    assert forged.returncode == 1


def test_an_interrupted_and_unrecorded_drop_is_on_the_page(tmp_path: Path) -> None:
    path = tmp_path / "b.logbook"
    with Logbook.create(path, title="b <b>bold</b>") as book:
        run(book, VirtualRig(hook=cable_pulled_once()), *impact())
    assert bladerig("report", path, "--out", tmp_path / "page.html").returncode == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "connected again" in page
    assert "<b>bold</b>" not in page, "text from people is never markup"


@pytest.mark.parametrize(
    ("value", "expanded", "told"),
    [
        (5.0004, 0.0163, "5.000 ± 0.016 J"),
        (123.4, 25.0, "123 ± 25 J"),
        (0.5, 0.0994, "0.500 ± 0.099 J"),
    ],
)
def test_a_value_is_rounded_to_the_second_digit_of_its_uncertainty(
    value: float, expanded: float, told: str
) -> None:
    # GUM 7.2.6: at most two significant digits of the uncertainty, the value to the same place.
    assert quantity({"value": value, "U": expanded, "unit": "J"}) == told


def test_the_readme_quotes_the_demo_as_it_is(tmp_path: Path) -> None:
    told = bladerig("demo", "--out", tmp_path).stdout
    block = (ROOT / "README.md").read_text(encoding="utf-8").split("Measured beside")[1]
    for line in block.split("```")[0].splitlines()[1:]:
        assert line in told, line


def test_exported_tables_explain_every_column(demo: dict[str, Any], tmp_path: Path) -> None:
    import pandas as pd

    assert bladerig("export", demo["logbook"], "--out", tmp_path / "t").returncode == 0
    columns = pd.read_csv(tmp_path / "t" / "columns.csv")
    for name in ("results.csv", "traces.csv"):
        table = pd.read_csv(tmp_path / "t" / name)
        assert list(table.columns) == list(columns[columns.file == name].column)
        assert len(table) > 100
    energy = pd.read_csv(tmp_path / "t" / "results.csv")
    told = energy[(energy.trial == "K3 drop 1") & (energy.measurand == "impact_energy")]
    assert told.value.item() == demo["drops"][0]["energy_j"]
