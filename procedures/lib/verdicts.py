"""The words of a verdict: what stands against a result, and a line that ends with it."""

from collections.abc import Mapping, Sequence
from typing import Any


def reasons(result: Mapping[str, Any]) -> list[str]:
    """Everything that stands against a result, in words."""
    return [reason["text"] for reason in result["reasons"]]


def closed(head: str, against: Sequence[str]) -> str:
    """What was found, with the verdict behind it."""
    return f"{head}. NOT VALID: {'; '.join(against)}." if against else f"{head}. Valid."
