"""Readings from the driveway judged: limit that decided, life left with its error, findings and repairs."""

from driveout.wear.limits import Limit, maker_limit, shipped_limits
from driveout.wear.report import CarFacts, Reading, Report, report
from driveout.wear.typed import read_quantity
from driveout.wear.tyre_size import TyreSize, read_tyre_size
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, LifeLeft, Verdict, judge
from driveout.wear.wear_file import judge_file

__all__ = [
    "CLOSE",
    "FAILS",
    "HOLDS",
    "OPEN",
    "CarFacts",
    "Finding",
    "LifeLeft",
    "Limit",
    "Reading",
    "Report",
    "TyreSize",
    "Verdict",
    "judge",
    "judge_file",
    "maker_limit",
    "read_quantity",
    "read_tyre_size",
    "report",
    "shipped_limits",
]
