"""What differs between two benches, each as a run keeps it: tables within tables."""

from collections.abc import Iterator, Mapping
from typing import Any

ASIDE = ("certificates.", "tower.carriage.weighed", "tower.carriage.practice")
SCALE = ("tower.wire.count_m", "tower.wire.u_count_relative", "tower.wire.source")
"""With a certificate the scale of the height is the certificate's."""


def changed(began: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Keys that both have and that differ, certificates aside."""
    aside = ASIDE + (SCALE if any(_certified(bench) for bench in (began, now)) else ())
    old, new = dict(_flat(began)), dict(_flat(now))
    return [
        key
        for key in sorted(old.keys() & new.keys())
        if old[key] != new[key] and not key.startswith(aside)
    ]


def _certified(bench: Mapping[str, Any]) -> bool:
    height = (bench.get("certificates") or {}).get("height")
    return height is not None and not height["against"]


def _flat(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield prefix + key, value
