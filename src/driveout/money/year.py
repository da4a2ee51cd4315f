"""One calendar year of the books: income and expenses by car and category."""

from __future__ import annotations

from dataclasses import dataclass

from driveout.money.journal import MEMO_ROOT, MINUTES, Balances
from driveout.units import Money

# Account name -> what a person calls it.
CATEGORIES = {
    "Sales": "Cars sold",
    "PartsSold": "Parts sold",
    "Scrap": "Scrap",
    "DepositsKept": "Deposits kept",
    "COGS": "Cost of cars sold",
    "SellingFees": "Fees of sales",
    "AfterSale": "Costs after a sale",
    "Overhead": "Overhead",
    "Depreciation": "Tools written off",
    "ExchangeGain": "Gained on exchange",
    "ExchangeLoss": "Lost on exchange",
}


@dataclass(frozen=True)
class YearRow:
    """One category of one car, or of the garage when the car is empty; expenses stand with a minus."""

    car: str
    category: str
    amount: Money


@dataclass(frozen=True)
class YearSummary:
    """A year: its rows, its result, what went into stock, own time.

    Parameters
    ----------
    year
        Calendar year.
    rows
        Income and expenses by car and category.
    result
        Income less expenses.
    stock_change
        Change of what cars not sold yet have cost, the shelf included.
    tools_change
        Tools bought less written off.
    own_minutes
        Own time booked. [min]
    """

    year: int
    rows: tuple[YearRow, ...]
    result: Money
    stock_change: Money
    tools_change: Money
    own_minutes: int


def year_summary(moved: Balances, year: int, currency: str) -> YearSummary:
    """Sum up what moved on the accounts in a year.

    Parameters
    ----------
    moved
        Movement by (account, commodity) between the first and the last day of the year.
    year
        The year, for the heading.
    currency
        Currency of the summary; other currencies are not mixed in.

    Returns
    -------
    YearSummary
        Rows in the order of cars, income first.
    """
    rows = []
    stock = tools = minutes = result = 0
    for (account, commodity), amount in sorted(moved.items()):
        root, name, *rest = account.split(":")
        if account.startswith(f"{MEMO_ROOT}:Time:Car-") and commodity == MINUTES:
            minutes += amount
        if commodity != currency:
            continue
        if root in ("Income", "Expenses") and amount:
            rows.append(
                YearRow(rest[0] if rest else "", CATEGORIES.get(name, name), Money(-amount, currency))
            )
            result -= amount
        elif account.startswith(("Assets:WIP:", "Assets:Supplies")):
            stock += amount
        elif account.startswith("Assets:Tools"):
            tools += amount
    rows.sort(key=lambda row: (_order(row.car), row.amount.minor < 0, row.category))
    return YearSummary(
        year, tuple(rows), Money(result, currency), Money(stock, currency), Money(tools, currency), minutes
    )


def _order(car: str) -> tuple[int, int, str]:
    number = car.removeprefix("Car-")
    return (0 if car else 1, int(number) if number.isdigit() else 0, car)
