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

__all__ = [
    "Access",
    "Catalogue",
    "OutsideWork",
    "PartChoice",
    "Redo",
    "Repair",
    "Tool",
    "Wait",
    "WhileThere",
    "catalogue",
]
