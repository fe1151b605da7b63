"""Logbooks made before verdicts had a type, as files, and what the program said of them then.

`singles`: one test of each kind without certificates; a drop that struck twice, one that nobody
recorded, a script of somebody's own that noted a valid trial without a result. `study`: four
blades, hardness, lives, two tips of which one was lost with the power; a trial withdrawn, the key
opened. The files are never made anew: what they hold is how those versions wrote. Two things were
said wrongly then and are said rightly now: the trial of somebody's own was called not valid and
unrecorded, for the want of a result; a withdrawn trial stood in the list of runs as any other, and
its page hid the value.
"""

import json
import lzma
import re
from html import unescape
from pathlib import Path
from typing import Any

from tests.cli.inside import done

HERE = Path(__file__).parent
JUDGED = ("trial", "specimen", "valid", "reasons")
BOOKS = ("singles", "study")


def unpacked(name: str, folder: Path) -> Path:
    """The logbook as a file in `folder`."""
    path = folder / f"{name}.logbook"
    path.write_bytes(lzma.decompress((HERE / f"{name}.logbook.xz").read_bytes()))
    return path


def said_then(name: str) -> dict[str, Any]:
    """What was said of it when it was made."""
    told: dict[str, Any] = json.loads(lzma.decompress((HERE / "said.json.xz").read_bytes()))[name]
    return told


def said_now(path: Path) -> dict[str, Any]:
    """The same from the program as it is: runs, every page, recompute, tables, comparison."""
    folder = path.parent
    told: dict[str, Any] = {"runs": done("runs", path).splitlines()}
    for run in json.loads(done("runs", path, "--json")):
        number, page = run["run_id"], folder / "page.html"
        content = json.loads(done("report", path, "--run", number, "--out", page, "--json"))
        told[f"run {number}"] = {
            "verdict": content["verdict"],
            "trials": [_figures(one) for one in (*content["trials"], *content["others"])],
            "unrecorded": [{key: one[key] for key in JUDGED} for one in content["unrecorded"]],
            "table": _rows(page),
        }
    told["recompute"] = json.loads(done("recompute", path, "--json"))
    done("export", path, "--out", folder / "tables")
    told["trials.csv"] = (folder / "tables" / "trials.csv").read_text().splitlines()
    if path.stem == "study":
        told["compare"] = [
            _answered(one) for one in json.loads(done("compare", path, "--json"))["answers"]
        ]
        told["next"] = done("study", "next", path).splitlines()
        table = folder / "tables" / "study-trials.csv"
        told["study-trials.csv"] = table.read_text().splitlines()
    cleaned: dict[str, Any] = json.loads(json.dumps(told).replace(str(folder), "HERE"))
    return cleaned


def _figures(trial: dict[str, Any]) -> dict[str, Any]:
    """What counts of a trial, its measurands by value and U alone."""
    found = {name: [one["value"], one["U"]] for name, one in trial["measurands"].items()}
    damage = {key: value for key, value in (trial["damage"] or {}).items() if key != "reasons"}
    return {**trial, "measurands": found, "figures": None, "damage": damage}


def _answered(answer: dict[str, Any]) -> dict[str, Any]:
    """What a response came to; its sentences may be worded better since."""
    kept = ("group", "against", "verdict", "estimate")
    pairs = [{key: pair[key] for key in kept} for pair in answer["comparisons"]]
    return {key: answer[key] for key in ("response", "verdict", "excluded")} | {"pairs": pairs}


def _rows(page: Path) -> list[list[str]]:
    """The rows of the page's first table: every trial with its verdict."""
    text = page.read_text(encoding="utf-8")
    first = text.partition("<table")[2].partition("</table>")[0]
    return [
        [" ".join(unescape(re.sub(r"<[^>]*>", " ", cell)).split()) for cell in row.split("<td>")]
        for row in re.findall(r"<tr>(.*?)</tr>", first, flags=re.DOTALL)
    ]
