"""Which repairs pay, given shared access, budget and hours; and in which order to try them."""

from driveout.repairs.catalogue import (
    Access,
    Catalogue,
    OutsideWork,
    PartChoice,
    Redo,
    Repair,
    Tool,
    Wait,
    WhileThere,
    catalogue,
)
from driveout.repairs.choose import (
    AccessCost,
    Choice,
    Limits,
    NowOrLater,
    Plan,
    RepairOption,
    choose,
    now_or_later,
)
from driveout.repairs.closure import best_closure
from driveout.repairs.order import Attempt, AttemptOrder, attempt_order

__all__ = [
    "Access",
    "AccessCost",
    "Attempt",
    "AttemptOrder",
    "Catalogue",
    "Choice",
    "Limits",
    "NowOrLater",
    "OutsideWork",
    "PartChoice",
    "Plan",
    "Redo",
    "Repair",
    "RepairOption",
    "Tool",
    "Wait",
    "WhileThere",
    "attempt_order",
    "best_closure",
    "catalogue",
    "choose",
    "now_or_later",
]
