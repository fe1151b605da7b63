"""What a study says, as plain data: for programs and beside the report."""

from typing import Any

from rig.study.answers import common
from rig.study.answers.answer import agreements
from rig.study.answers.whole import Whole
from rig.study.register import blinding


def said(study: Whole) -> dict[str, Any]:
    """A study's answers as plain data."""
    return {
        "title": study.record.title,
        "question": study.record.question,
        "primary": study.record.primary,
        "answers": [one.to_dict() for one in study.answers],
        "assumes": common.assumptions(study.answers),
        "agreements": agreements(study.answers),
        "beside": [
            {"trial": e.trial, "run": e.run_id, "reasons": list(e.reasons)} for e in study.beside
        ],
        "practice": practice(study),
        "blinding": list(blinding.sentences(study.kept)),
        "unsealed": [u["reason"] for u in study.kept.unsealed],
        "trials_left": len(study.left),
        "trials_not_blind": len(study.seeing),
    }


def practice(study: Whole) -> bool:
    """Whether what counts was made on the virtual rig."""
    made = [one for one in study.trials if not one.against] or study.trials
    return bool(made) and all(one.run.practice for one in made)
