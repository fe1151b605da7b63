"""How blind the trials were: what is known of it, and no more."""

from collections.abc import Iterator

from rig.study.register.kept import Kept
from rig.study.register.order import ALONE, FILE, OTHER, PASSPHRASE

KEPT = {
    PASSPHRASE: "The key lay in the logbook, locked by a passphrase: who knew the passphrase could "
    "have opened a copy, without a trace here.",
    FILE: "The key was not in the logbook but in a file kept elsewhere: who had that file could "
    "have read it, without a trace here.",
}
PACKED = (
    "The key lay packed in the logbook: who had the logbook could have opened a copy, without a "
    "trace here."
)
LABELS = {
    OTHER: "When the codes were dealt it was said that somebody who does not test sticks the "
    "labels on.",
    ALONE: "When the codes were dealt it was said that the tester sticks the labels on alone, with "
    "folded slips and shuffled blades: blind as far as nobody peeped or knows the blades apart by "
    "their looks.",
}


def sentences(study: Kept) -> Iterator[str]:
    """Sentence by sentence, for a study whose codes are dealt."""
    if study.order is None:
        return
    yield (
        "The trials were made by code. Whether those who made them knew the blades behind the "
        "codes no record can show."
    )
    yield KEPT.get(study.order.sealed.held, PACKED)
    yield LABELS.get(study.order.labels_by, "Who stuck the labels on is not on record.")
    if any(one.get("labels_left") for one in study.unsealed):
        yield "The label sheet, which shows the key, still lay beside the logbook at unsealing."
    yield "The seal shows that the key was not changed after it was dealt; the audit tells."
