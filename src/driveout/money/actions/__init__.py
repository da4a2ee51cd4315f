"""What a person books. Each action balances, is booked once, and moves the car's outlook.

`costs` is what a car costs, `sale` what it brings, `own_effort` own time and trips, `shelf` supplies,
tools and own money, `bank` the bank's file, `whole_journal` balances, year, taking back and closing,
`exchange` other currencies, `ahead` expected money, `receipt_photos` photographed receipts; `entering` is the way in for all of them.
"""

from driveout.money.actions.ahead import cash_at_hand, drop_planned, plan_money, planned_money
from driveout.money.actions.bank import (
    bank_layouts,
    book_bank_line,
    forget_bank_layout,
    keep_bank_layout,
    suggestions,
)
from driveout.money.actions.costs import (
    book_core_return,
    book_purchase,
    book_receipt,
    book_refund,
    cores_open,
    cost_by_line,
    cost_so_far,
    owed_and_held,
)
from driveout.money.actions.entering import car_entries
from driveout.money.actions.exchange import currencies_moved, exchange_money, other_money
from driveout.money.actions.own_effort import book_hours, book_travel, minutes_by_work
from driveout.money.actions.receipt_photos import LARGEST_PHOTO, keep_photo, photo_of, picture_type
from driveout.money.actions.sale import (
    book_buyer_deposit,
    book_by_product,
    book_sale,
    cars_gone,
    deposits_held,
    let_car_go,
    sale_of,
    settle_deposit,
)
from driveout.money.actions.shelf import (
    Shelf,
    Tool,
    book_own_money,
    buy_supplies,
    buy_tool,
    issue_supplies,
    supplies_on_shelf,
    tools,
    use_tool,
)
from driveout.money.actions.whole_journal import (
    all_balances,
    close_period,
    every_entry,
    import_journal,
    journal_of,
    reverse_entry,
    year_of,
)

__all__ = [
    "sale_of",
    "cars_gone",
    "other_money",
    "exchange_money",
    "currencies_moved",
    "LARGEST_PHOTO",
    "Shelf",
    "Tool",
    "all_balances",
    "bank_layouts",
    "book_bank_line",
    "book_buyer_deposit",
    "book_by_product",
    "book_core_return",
    "book_hours",
    "book_own_money",
    "book_purchase",
    "book_receipt",
    "book_refund",
    "book_sale",
    "book_travel",
    "buy_supplies",
    "buy_tool",
    "car_entries",
    "cash_at_hand",
    "close_period",
    "cores_open",
    "cost_by_line",
    "cost_so_far",
    "deposits_held",
    "drop_planned",
    "every_entry",
    "forget_bank_layout",
    "import_journal",
    "issue_supplies",
    "journal_of",
    "keep_bank_layout",
    "keep_photo",
    "let_car_go",
    "minutes_by_work",
    "owed_and_held",
    "photo_of",
    "picture_type",
    "plan_money",
    "planned_money",
    "reverse_entry",
    "settle_deposit",
    "suggestions",
    "supplies_on_shelf",
    "tools",
    "use_tool",
    "year_of",
]
