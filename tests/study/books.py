"""Study logbooks for the tests, written as procedures write them, with any trial one asks for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rig.guide.verdict import KIND, Verdict
from rig.logbook import Logbook
from rig.measure.budget import Reason
from rig.study.register import dealing, kept
from rig.study.register.kept import Order
from rig.study.register.record import StudyRecord
from rig.study.register.responses import KINDS

SCATTER = {"hardness": 0.4}
SEED = 3
VERSION = "5eed" * 16


def response(name: str, **more: Any) -> dict[str, Any]:
    """A response as a study file states it."""
    linear = KINDS[name].scale == "linear"
    size = 1.0 if linear else 1.25
    return {"name": name, "smallest": size, "margin": 1.0 if linear else 1.2, **more}


def record(
    groups: Mapping[str, int],
    responses: Sequence[str | dict[str, Any]] = ("pry_torque",),
    control: str | None = "A",
    loads: Mapping[str, str] | None = None,
    **more: Any,
) -> StudyRecord:
    """A study of blades A1, A2 ...; `loads` names the furnace load of each blade that has one.

    Left out, all blades come from one.
    """
    asked = [response(one) if isinstance(one, str) else one for one in responses]
    known = {} if loads is None else loads
    other = "" if loads is not None else "one"
    blades = [
        {"name": f"{group}{i + 1}", "group": group, "load": known.get(f"{group}{i + 1}", other)}
        for group, count in groups.items()
        for i in range(count)
    ]
    return StudyRecord.model_validate(
        {
            "title": "Second temper",
            "question": "Is it harder to break?",
            "primary": asked[0]["name"],
            "group": [{"name": name, "control": name == control} for name in groups],
            "response": asked,
            "blade": blades,
            **more,
        }
    )


@dataclass
class StudyBook:
    """An open logbook with a study whose codes are dealt."""

    book: Logbook
    study: StudyRecord
    order: Order
    device: str = "port"
    code: dict[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self.code = {blade: code for code, blade in self.order.key().items()}

    def run(
        self, procedure: str, version: str = VERSION, outcome: str | None = "finished",
        certificates: Mapping[str, Any] | None = None, device: str = "",
    ) -> int:  # fmt: skip
        """A run; give it trials, then `end` it."""
        bench = {"name": "bench", "certificates": dict(certificates or {})}
        versions = {"device": device or self.device, "firmware": "1.0", "bench": bench}
        return self.book.start_run(procedure, version, {"specimen": ""}, versions)

    def trial(
        self, blade: str, procedure: str, values: Mapping[str, tuple[float, float]] | None = None,
        outcome: str | None = "finished", code: str = "", run: Mapping[str, Any] | None = None,
        reasons: Sequence[str] = (), indication: Sequence[str] = (), **body: Any,
    ) -> int:  # fmt: skip
        """A run with one trial: `values` are measurand -> (value, u); gives the run's number.

        `reasons` make it not valid; `body` is what else its verdict holds.
        """
        code = code or self.code.get(blade, blade)
        with self.book.transaction():
            run_id = self.run(procedure, **(run or {}))
            name, stored = f"{code} {procedure}", result(values or {})
            outcome_of = None if values is None else {
                "result_id": self.book.store_result(run_id, name, procedure, stored, []), **stored
            }  # fmt: skip
            verdict = Verdict.judged(
                name, code, outcome_of, [Reason("void", text) for text in reasons],
                [Reason("lacking", text) for text in indication], **body,
            )  # fmt: skip
            self.book.append(KIND, verdict.to_dict(), run_id)
            if outcome:
                self.book.end_run(run_id, outcome, "the procedure came to its end")  # type: ignore[arg-type]
        return run_id

    def pry(self, blade: str, torque_nm: float, u: float = 0.05, **more: Any) -> int:
        """A pry trial."""
        return self.trial(blade, "pry_to_failure", {"peak_torque": (torque_nm, u)}, **more)

    def life(self, blade: str, last_pass: int, first_fail: int | None, **more: Any) -> int:
        """Cuts to dull."""
        life = {"last_pass_cuts": last_pass, "first_fail_cuts": first_fail}
        return self.trial(blade, "cuts_to_dull", life=life, **more)

    def unseal(self, reason: str = "all planned trials are made") -> None:
        """Open the key."""
        kept.unseal(self.book, reason)


def result(values: Mapping[str, tuple[float, float]]) -> dict[str, Any]:
    """A stored result."""
    told = {
        name: {"value": value, "u": u, "U": 2 * u, "k": 2.0, "dof": None, "unit": "1"}
        for name, (value, u) in values.items()
    }
    return {"measurands": told, "reasons": [], "figures": {}}


def begin(path: Path, study: StudyRecord, device: str = "port") -> StudyBook:
    """A new logbook with the study entered and its codes dealt; close `book` when done."""
    book = Logbook.create(path, title=study.title)
    kept.enter(book, study)
    return StudyBook(book, study, dealing.deal(book, SEED), device)
