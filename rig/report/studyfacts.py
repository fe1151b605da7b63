"""What the report of a study shows beside its answers, as plain rows for the page."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from rig.logbook.store import Logbook
from rig.report.ink import quantity, sign
from rig.study.answers import repeats
from rig.study.answers.answer import Answer
from rig.study.answers.lines import Line
from rig.study.answers.planning import blades_asked
from rig.study.answers.whole import Whole
from rig.study.register import conditions, kept
from rig.study.register.collect import in_words
from rig.study.register.record import ResponseRecord, StudyRecord
from rig.study.statistics.lives import LifeResult
from rig.study.statistics.phrases import about, size
from rig.study.statistics.units import BladeMean, in_order

CHECKS = {"check_load": "hung weight on the load cell", "tower_acceleration": "empty drops"}


def blades(told: Answer) -> list[dict[str, Any]]:
    """Every blade of a response, group by group: its value with U (k = 2), trials and load."""
    if not told.data.observations:
        return []
    lives = told.result.lives if isinstance(told.result, LifeResult) else ()
    spans = {life.specimen: f"{life}" for life in lives}
    return [
        _blade(one, spans[one.blade] if spans else _value(one, told)) for one in in_order(told.data)
    ]


def _blade(one: BladeMean, value: str) -> dict[str, Any]:
    return {"blade": one.blade, "group": one.group, "load": one.load, "trials": one.trials,
            "value": value}  # fmt: skip


def _value(one: BladeMean, told: Answer) -> str:
    response = told.data.response
    value = response.outward(one.mean)
    if repeats.differ(one):
        return f"{value:.4g} {sign(response.unit)} ({repeats.between(one, response)})"
    u = one.u * value if told.is_log else one.u
    shown = quantity({"value": value, "U": 2 * u, "unit": response.unit})
    if u == 0:
        shown = f"{value:.4g} {response.unit} (± not on record)"
    return f"more than {shown}" if one.censored else shown


def progress(book: Logbook, whole: Whole) -> list[dict[str, Any]]:
    """Plan against what was done, procedure by procedure: runs planned, made, and that count."""
    planned = Counter(trial.procedure for trial in whole.order.trials)
    made: Counter[str] = Counter()
    for (procedure, _), runs in kept.done(book).items():
        made[procedure] += runs
    count: dict[str, set[int]] = {}
    for one in whole.collected:
        count.setdefault(one.response.kind.procedure, set()).update(*one.runs.values())
    return [
        {"procedure": p, "planned": n, "made": made[p], "counted": len(count.get(p, ()))}
        for p, n in planned.items()
    ]


def order_of_trials(whole: Whole) -> str:
    """How the trials were put in their order, and how evenly the groups lie in the blocks."""
    blocks = list(dict.fromkeys(trial.block for trial in whole.order.trials))
    if len(blocks) < 2:
        return "random"
    text = f"random within blocks ({', '.join(blocks)})"
    uneven = [_spoken(name) for name in kept.procedures(whole.record) if not _even(whole, name)]
    if not uneven:
        return f"{text}; each block holds the groups in equal shares"
    return f"{text}; not every block holds the groups in equal shares in {', '.join(uneven)}"


def _even(whole: Whole, procedure: str) -> bool:
    """Whether every block of a test holds the groups in one proportion."""
    group_of = {blade.name: blade.group for blade in whole.record.blade}
    counts: dict[str, Counter[str]] = {}
    for trial in whole.order.trials:
        if trial.procedure == procedure:
            group = group_of[(whole.key or {})[trial.code]]
            counts.setdefault(trial.block, Counter())[group] += 1
    totals = sum(counts.values(), Counter[str]())
    return all(
        own[group] * totals.total() == own.total() * totals[group]
        for own in counts.values()
        for group in totals
    )


def promised(whole: Whole) -> list[dict[str, Any]]:
    """What was planned for each response beside what the study came to."""
    return [
        {
            "response": told.response.kind.title,
            "wanted": size(told.data.response, told.response.smallest),
            "blades": _asked(told.response, whole.record),
            "counted": _counted(told, whole.record),
        }
        for told in whole.answers
    ]


def _asked(response: ResponseRecord, record: StudyRecord) -> str:
    """Blades a group that the study as entered asks for."""
    if response.scatter is None:
        return "no scatter was stated"
    units = blades_asked(response, record)
    return "more than 1,000" if units is None else str(units)


def _counted(told: Answer, record: StudyRecord) -> str:
    each = Counter(group for _, group in {(s.blade, s.group) for s in told.data.observations})
    return ", ".join(f"{group.name} {each[group.name]}" for group in record.group)


def found(told: Answer, line: Line) -> str:
    """The smallest difference that a comparison would have found, for its table."""
    if line.detectable is not None:
        return about(told.data.response, line.detectable)
    return "see below" if line.beyond else "not known"


def runs(book: Logbook) -> list[dict[str, Any]]:
    """Every run of the logbook."""
    return [
        {
            "run": run.run_id,
            "procedure": run.procedure,
            "version": run.procedure_hash[:12],
            "started": run.started_utc,
            "outcome": f"{run.outcome}" if run.outcome else "unfinished",
            "rig": run.versions.get("device", ""),
            "firmware": run.versions.get("firmware", ""),
        }
        for run in book.runs()
    ]


def certificates(book: Logbook) -> list[dict[str, Any]]:
    """Certificates as the runs had them, each once with the runs it served."""
    seen: dict[str, dict[str, Any]] = {}
    for run in book.runs():
        for channel, one in _certificates(run.versions).items():
            told = one.get("certificate")
            if told is None:
                continue
            key = f"{channel} {told['made']} {'; '.join(one['against'])}"
            found = seen.setdefault(
                key, {"channel": channel, **told, "against": one["against"], "runs": []}
            )
            found["runs"].append(run.run_id)
    for found in seen.values():
        found["runs"] = _spans(found["runs"])
    return list(seen.values())


def _certificates(versions: Mapping[str, Any]) -> Mapping[str, Any]:
    bench = versions.get("bench") or {}
    found: Mapping[str, Any] = bench.get("certificates") or {}
    return found


def _spans(numbers: list[int]) -> str:
    """1, 2, 3, 7 as "1-3, 7"."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ", ".join(f"{a}" if a == b else f"{a}-{b}" for a, b in spans)


def checks(book: Logbook) -> list[dict[str, Any]]:
    """Checks before trials, kind by kind: how many, and how many were out of their limits."""
    told = []
    for kind, name in CHECKS.items():
        rows = list(book.journal(kind=kind))
        if rows:
            out = sum(bool(row.body.get("out")) for row in rows)
            told.append({"name": name, "count": len(rows), "out": out,
                         "first": rows[0].at_utc, "last": rows[-1].at_utc})  # fmt: skip
    return told


def scope(record: StudyRecord, book: Logbook) -> list[str]:
    """What the conclusion holds for, from the study as entered and the media as used."""

    def listed(name: str, values: Iterable[str], unknown: str) -> str:
        told = "; ".join(sorted({value for value in values if value}))
        return f"{name}: {told or unknown}"

    media = [row.body for row in book.journal(kind="media")]
    return [
        listed("steel", (g.steel for g in record.group), "not stated"),
        listed("batch", (b.batch for b in record.blade), "not stated"),
        listed("furnace load", (b.load for b in record.blade), "not stated"),
        f"edge angle: {_range([b.angle_deg for b in record.blade], '.1f', '° a side')}",
        "thickness behind the edge: "
        + _range([b.thickness and b.thickness * 1e3 for b in record.blade], ".2f", " mm"),
        listed("finish", (b.finish for b in record.blade), "not stated"),
        listed("medium cut", map(_medium, media), "none on record"),
        listed("settings", _settings(record), "each procedure's own"),
    ]


def _range(values: Sequence[float | None], places: str, unit: str) -> str:
    """From the smallest to the largest, as entered."""
    known = [value for value in values if value is not None]
    if not known:
        return "not measured"
    ends = list(dict.fromkeys(f"{value:{places}}" for value in (min(known), max(known))))
    missing = len(values) - len(known)
    text = f"{' to '.join(ends)}{unit}, as entered"
    return text + (f" ({missing} not measured)" if missing else "")


def _medium(body: Mapping[str, Any]) -> str:
    thick = body.get("thickness_m")
    parts = [body.get("kind"), f"lot {body['lot']}" if body.get("lot") else "",
             f"{1e3 * thick:.3g} mm thick" if thick else ""]  # fmt: skip
    return " ".join(str(part) for part in parts if part)


def _settings(record: StudyRecord) -> Iterator[str]:
    for procedure in kept.procedures(record):
        if given := conditions.stated(record, procedure):
            yield f"{_spoken(procedure)} with {_pairs(given)}"


def _pairs(settings: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {value or 'left empty'}" for name, value in settings.items())


def _spoken(procedure: str) -> str:
    return procedure.replace("_", " ")


def fixed(whole: Whole) -> list[tuple[str, str]]:
    """Procedure and the settings that were fixed for all its trials before the first."""
    dealt = whole.order.fixed
    return [(_spoken(name), _pairs(settings)) for name, settings in dealt.items() if settings]


def lost(whole: Whole) -> list[dict[str, Any]]:
    """Blades that could be tested no more."""
    return [
        {
            "code": one.code,
            "blade": (whole.key or {}).get(one.code, ""),
            "tests": ", ".join(map(_spoken, one.procedures)) or "all that were left",
            "from_treatment": one.from_treatment,
            "reason": one.reason + " (told with the key open)" * one.key_open,
            "at_utc": one.at_utc,
        }
        for one in whole.kept.lost
    ]


def withdrawn(whole: Whole) -> list[dict[str, Any]]:
    """Trials that were taken back, each with what it had given."""
    told = []
    for one in whole.trials:
        if one.withdrawn is not None:
            kinds = [r.kind for r in whole.record.response if r.kind.procedure == one.procedure]
            had = filter(None, (in_words(one, kind) for kind in kinds))
            told.append({"trial": one.name, "run": one.run.run_id, "had": "; ".join(had),
                         "why": one.withdrawn.sentence})  # fmt: skip
    return told
