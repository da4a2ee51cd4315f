"""The money record: double entry, cost of a car, what effort and capital earned."""

from driveout.money.bookings import COST_KINDS, KIND_NAMES, CoreBill, Held, Rate, car_part, core_bill, shares
from driveout.money.car_cost import (
    CarCost,
    CashMove,
    OpenCore,
    cash_moves,
    cost_of_car,
    lowest_cash,
    open_cores,
)
from driveout.money.exports import beancount_text, journal_csv, ledger_text
from driveout.money.journal import Entry, Posting, balances, checked, reversal, standing, take_back
from driveout.money.journal_file import Journal, journal_from_csv, journal_yaml, read_journal
from driveout.money.measures import (
    Earnings,
    dietz_return,
    earnings,
    modified_rate,
    rates_of_return,
    yearly_rates,
)

__all__ = [
    "COST_KINDS",
    "KIND_NAMES",
    "CarCost",
    "CashMove",
    "CoreBill",
    "Earnings",
    "Entry",
    "Held",
    "Journal",
    "OpenCore",
    "Posting",
    "Rate",
    "balances",
    "beancount_text",
    "car_part",
    "cash_moves",
    "checked",
    "core_bill",
    "cost_of_car",
    "dietz_return",
    "earnings",
    "journal_csv",
    "journal_from_csv",
    "journal_yaml",
    "ledger_text",
    "lowest_cash",
    "modified_rate",
    "open_cores",
    "rates_of_return",
    "read_journal",
    "reversal",
    "shares",
    "standing",
    "take_back",
    "yearly_rates",
]
