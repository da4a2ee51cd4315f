"""The kinds of entry a car project makes, each as a balanced journal entry.

`accounts` names the accounts, `costs` is what a car costs, `sale` what it brings, `own_effort` own time and
trips, `shelf` what the garage owns for all cars, `exchange` money in other currencies, `core_bill` a
part with a core deposit under both sales-tax habits.
"""

from driveout.money.bookings.accounts import (
    BANK,
    COST_KINDS,
    KIND_NAMES,
    SUPPLIES,
    TOOLS,
    car_part,
    cores,
    wip,
)
from driveout.money.bookings.core_bill import CoreBill, core_bill
from driveout.money.bookings.costs import core_settled, purchase, receipt, refund
from driveout.money.bookings.exchange import (
    EXCHANGE,
    Held,
    Rate,
    exchange_account,
    exchanged,
    in_other_currency,
)
from driveout.money.bookings.own_effort import own_hours, travel, work_name, work_words
from driveout.money.bookings.sale import (
    PartExchange,
    buyer_deposit,
    by_product,
    deposit_back,
    sale,
    scrapped,
    with_selling_fee,
)
from driveout.money.bookings.shelf import (
    own_money_in,
    shares,
    supplies_bought,
    supplies_issued,
    tool_bought,
    tool_used,
    tool_worn,
)

__all__ = [
    "BANK",
    "COST_KINDS",
    "EXCHANGE",
    "KIND_NAMES",
    "SUPPLIES",
    "TOOLS",
    "CoreBill",
    "Held",
    "PartExchange",
    "Rate",
    "buyer_deposit",
    "by_product",
    "car_part",
    "core_bill",
    "core_settled",
    "cores",
    "deposit_back",
    "exchange_account",
    "exchanged",
    "in_other_currency",
    "own_hours",
    "own_money_in",
    "purchase",
    "receipt",
    "refund",
    "sale",
    "scrapped",
    "shares",
    "supplies_bought",
    "supplies_issued",
    "tool_bought",
    "tool_used",
    "tool_worn",
    "travel",
    "wip",
    "with_selling_fee",
    "work_name",
    "work_words",
]
