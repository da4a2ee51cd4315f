"""Strip and refit: what to undo, what still holds it, how tight it goes back."""

from driveout.workshop.access import AccessItem, Release, least_release
from driveout.workshop.assembly import Assembly, Link, Part, Step, with_variants
from driveout.workshop.assembly_file import SHIPPED, read_assembly, shipped_assembly
from driveout.workshop.practice import airbag_wait_minutes, caution
from driveout.workshop.strip import StripPlan, Task, strip

__all__ = [
    "SHIPPED",
    "AccessItem",
    "Assembly",
    "Link",
    "Part",
    "Release",
    "Step",
    "StripPlan",
    "Task",
    "airbag_wait_minutes",
    "caution",
    "least_release",
    "read_assembly",
    "shipped_assembly",
    "strip",
    "with_variants",
]
