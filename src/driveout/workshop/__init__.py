"""Strip and refit: what to undo, what still holds it, how tight it goes back."""

from driveout.workshop.access import AccessItem, Release, least_release
from driveout.workshop.assembly import Assembly, Link, Part, Step, with_variants
from driveout.workshop.assembly_file import SHIPPED, read_assembly, shipped_assembly
from driveout.workshop.hold import (
    BagReport,
    FastenerRecord,
    HoldPoint,
    Passage,
    Progress,
    bag_report,
    fastener_records,
    hold_point,
    pass_hold,
    still_holding,
)
from driveout.workshop.pattern import circle_order, head_order
from driveout.workshop.practice import airbag_wait_minutes, caution
from driveout.workshop.strip import StripPlan, Task, strip
from driveout.workshop.tightening import Specification, may_reuse, specification
from driveout.workshop.wrench import wrench_remarks, wrench_setting

__all__ = [
    "SHIPPED",
    "AccessItem",
    "Assembly",
    "BagReport",
    "FastenerRecord",
    "HoldPoint",
    "Link",
    "Part",
    "Passage",
    "Progress",
    "Release",
    "Specification",
    "Step",
    "StripPlan",
    "Task",
    "airbag_wait_minutes",
    "bag_report",
    "caution",
    "circle_order",
    "fastener_records",
    "head_order",
    "hold_point",
    "least_release",
    "may_reuse",
    "pass_hold",
    "read_assembly",
    "shipped_assembly",
    "specification",
    "still_holding",
    "strip",
    "with_variants",
    "wrench_remarks",
    "wrench_setting",
]
