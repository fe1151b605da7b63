"""bench.toml: the rig as bolted together, checked as a whole before anything moves."""

from rig.bench.design import fixtures_folder
from rig.bench.file import TEMPLATE, load, own_parts
from rig.bench.frame import CuttingFrame
from rig.bench.jigs import AngleSensor, Arm, Cell, JigCalibration, PryJig, TwistJig
from rig.bench.tower import STATED, Site, Tower
from rig.bench.whole import Bench, practising

__all__ = [
    "STATED",
    "TEMPLATE",
    "AngleSensor",
    "Arm",
    "Bench",
    "Cell",
    "CuttingFrame",
    "JigCalibration",
    "PryJig",
    "Site",
    "Tower",
    "TwistJig",
    "fixtures_folder",
    "load",
    "own_parts",
    "practising",
]
