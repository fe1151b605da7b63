"""The study's own file: append-only journal, raw frames as received, results, runs."""

from rig.logbook.hashing import JSON
from rig.logbook.journal import ClockSetBack
from rig.logbook.records import Outcome, Row, Run, StoredResult
from rig.logbook.store import Logbook

__all__ = ["JSON", "ClockSetBack", "Logbook", "Outcome", "Row", "Run", "StoredResult"]
