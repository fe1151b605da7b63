"""The whole bench."""

from typing import Any

from pydantic import Field

from rig.bench.frame import CuttingFrame
from rig.bench.jigs import Cell, PryJig, TwistJig
from rig.bench.part import Part
from rig.bench.tower import Site, Tower


class Bench(Part):
    """Everything the measurements need to know of the rig.

    `certificates` are put in by the program that runs a procedure (by channel, as
    `rig.calibration.certificate.to_dict` gives them); the file cannot state them.
    """

    name: str
    port: str = ""
    site: Site = Site(latitude_deg=None, elevation_m=None)
    tower: Tower
    cell: Cell = Cell(serial="cell 1", mounted="arm", capacity_n=200.0, sensitivity_mv_v=2.0)
    pry: PryJig
    twist: TwistJig
    frame: CuttingFrame
    certificates: dict[str, Any] = Field(default_factory=dict)


def practising(bench: Bench) -> Bench:
    """The bench on the virtual rig: nobody weighs a carriage that is not there."""
    return with_carriage(bench, practice=True)


def with_carriage(bench: Bench, **told: bool) -> Bench:
    """The bench with `weighed` or `practice` of its carriage as told."""
    carriage = bench.tower.carriage.model_copy(update=told)
    tower = bench.tower.model_copy(update={"carriage": carriage})
    return bench.model_copy(update={"tower": tower})
