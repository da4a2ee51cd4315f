"""Parts: what is needed, where it can be had, when it must go back."""

from driveout.parts.part import (
    CONDITIONS,
    STATES,
    Offer,
    Part,
    PartLine,
    RankedOffer,
    ToDo,
    order_by,
    ranked_offers,
    to_do,
)

__all__ = [
    "CONDITIONS",
    "STATES",
    "Offer",
    "Part",
    "PartLine",
    "RankedOffer",
    "ToDo",
    "order_by",
    "ranked_offers",
    "to_do",
]
