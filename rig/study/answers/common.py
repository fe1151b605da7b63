"""What the answers of a study have in common: said once, not with each response."""

from collections.abc import Sequence

from rig.study.answers.answer import Answer


def assumptions(answers: Sequence[Answer]) -> list[str]:
    """What the verdicts take for granted, each once, however many rest on it."""
    return list(dict.fromkeys(text for one in answers for text in one.assumes))


def notes(answers: Sequence[Answer]) -> list[str]:
    """Notes that stand with every response that was measured; none where there is one only."""
    told = [one.notes for one in answers if one.notes]
    if len(told) < 2:
        return []
    return [note for note in told[0] if all(note in other for other in told[1:])]
