"""What does not fit together in a study's tables: names twice, groups that are not there."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rig.study.register.responses import KINDS
from rig.tables import Keys

Fault = tuple[Keys, str]


def disorder(told: Mapping[str, Any]) -> Iterator[Fault]:
    """Each fault with the keys of its place, wherever the tables hold what it takes to see it.

    Takes raw tables too: single entries may have faults of their own.
    """
    groups, blades = _tables(told, "group"), _tables(told, "blade")
    responses = _tables(told, "response")
    for what, entries in (("group", groups), ("blade", blades), ("response", responses)):
        yield from _twice(what, (entry.get("name") for entry in entries))
    yield from _blocks_twice(told.get("blocks"))
    if told.get("group") in ([], ()):
        yield ("group",), "there is no group; state at least one"
    if told.get("response") in ([], ()):
        yield ("response",), "there is no response; state what is compared"
    there = {str(group["name"]) for group in groups if "name" in group}
    for at, blade in enumerate(blades):
        if there and "group" in blade and blade["group"] not in there:
            yield (
                ("blade", str(at), "group"),
                f"{blade.get('name', 'it')} is in group '{blade['group']}', which is not there; "
                f"there is {', '.join(sorted(there))}",
            )
    for at, response in enumerate(responses):
        if "larger_is_better" in response:
            yield (
                ("response", str(at), "larger_is_better"),
                'is no more: each response knows its way; for another say better = "less" and why '
                "in better_because",
            )
    if sum(group.get("control") is True for group in groups) > 1:
        yield ("group",), "more than one group is the control; mark one"
    primary, names = told.get("primary"), [entry.get("name") for entry in responses]
    mistyped = primary in KINDS and not set(names) <= set(KINDS)  # told where it stands
    if responses and "primary" in told and primary not in names and not mistyped:
        yield ("primary",), f"'{primary}' is not among the responses"


def _tables(told: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    """The entries under a key; one that is no table stands as an empty one."""
    entries = told.get(key)
    if not isinstance(entries, list | tuple):
        return []
    return [entry if isinstance(entry, Mapping) else {} for entry in entries]


def _twice(what: str, names: Iterable[object]) -> Iterator[Fault]:
    seen = Counter[str]()
    for at, name in enumerate(names):
        seen[str(name)] += name is not None
        if seen[str(name)] == 2:
            yield (what, str(at), "name"), f"{what} '{name}' is there twice; give each its own"


def _blocks_twice(blocks: object) -> Iterator[Fault]:
    if isinstance(blocks, list | tuple):
        for block, n in Counter(map(str, blocks)).items():
            if n > 1:
                yield ("blocks",), f"block '{block}' is there twice; give each its own"
