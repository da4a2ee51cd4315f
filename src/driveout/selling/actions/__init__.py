"""What a person does to sell.

`planning` makes the asking plan, `offering` holds the advert's price, enquiries and offers, `closing` the
look before the keys go and the sale, `photos` what the buyer sees, `papers` what the buyer reads.
"""

from driveout.selling.actions.closing import (
    after_sale_notes,
    check_handover,
    last_handover_check,
    note_after_sale,
    sell_car,
)
from driveout.selling.actions.offering import (
    OUTCOMES,
    log_of,
    put_ask,
    record_enquiry,
    record_offer,
    reply_to_offer,
)
from driveout.selling.actions.papers import buyers_file, listing_facts, printed_buyers_file, sale_papers
from driveout.selling.actions.photos import (
    add_photo,
    drop_photo,
    give_work_photo,
    leaving_photo,
    photos_of,
    work_photos,
)
from driveout.selling.actions.planning import current_situation, latest_plan, make_plan, own_sales

__all__ = [
    "OUTCOMES",
    "add_photo",
    "after_sale_notes",
    "buyers_file",
    "check_handover",
    "current_situation",
    "drop_photo",
    "give_work_photo",
    "last_handover_check",
    "latest_plan",
    "leaving_photo",
    "listing_facts",
    "log_of",
    "make_plan",
    "note_after_sale",
    "own_sales",
    "photos_of",
    "printed_buyers_file",
    "put_ask",
    "record_enquiry",
    "record_offer",
    "reply_to_offer",
    "sale_papers",
    "sell_car",
    "work_photos",
]
