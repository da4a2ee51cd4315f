"""What a car has cost so far, what is still owed on it, and what it earned."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry, CannotSay
from driveout.money.bookings import COST_KINDS, cores
from driveout.money.journal import (
    MEMO_ROOT,
    MINUTES,
    Entry,
    balances,
    core_number,
    standing,
    under,
)
from driveout.units import Money


@dataclass(frozen=True)
class OpenCore:
    """A core deposit still owed to the person."""

    receipt: Entry
    owed: Money


@dataclass(frozen=True)
class CarCost:
    """A car's money and memos as booked.

    Parameters
    ----------
    car
        The car's account part.
    by_kind
        Work in progress by kind of cost; all 0 after the sale.
    cost_of_sale
        Work in progress that went out with the sale.
    selling_fees
        Fees of the sale.
    after_sale
        Costs that came in after the sale.
    sales
        Price the car was sold for, 0 before.
    other_income
        Leftover parts, scrap and deposits kept.
    cores_owed
        Core deposits not yet back.
    minutes
        Own time booked. [min]
    distance_km_tenths, distance_mi_tenths
        Trips booked, in tenths.
    """

    car: str
    by_kind: dict[str, Money]
    cost_of_sale: Money
    selling_fees: Money
    after_sale: Money
    sales: Money
    other_income: Money
    cores_owed: Money
    minutes: int
    distance_km_tenths: int = 0
    distance_mi_tenths: int = 0

    @property
    def work_in_progress(self) -> Money:
        """All cost still carried on the car."""
        return Money(sum(part.minor for part in self.by_kind.values()), self.sales.currency)

    @property
    def total_cost(self) -> Money:
        """Every cost of the car, before or after the sale; deposits still owed are no cost."""
        return self.work_in_progress + self.cost_of_sale + self.selling_fees + self.after_sale

    @property
    def profit(self) -> Money:
        """Income less cost so far; before the sale this is money spent, with a minus."""
        return self.sales + self.other_income - self.total_cost

    @property
    def hours(self) -> float:
        """Hours of own time booked."""
        return self.minutes / 60


def cost_of_car(entries: Iterable[Entry], car: str, currency: str) -> CarCost:
    """Read one car's figures from the journal.

    Parameters
    ----------
    entries
        The journal.
    car
        The car's account part, ``Car-7``.
    currency
        Currency of the car.

    Returns
    -------
    CarCost
        Every figure is a sum of postings.
    """
    sums = balances(entries)

    def held(account: str) -> Money:
        return Money(under(sums, account, currency), currency)

    other = Money(0, currency)
    for name in ("Scrap", "PartsSold", "DepositsKept"):
        other -= held(f"Income:{name}:{car}")
    return CarCost(
        car=car,
        by_kind={kind: held(f"Assets:WIP:{car}:{name}") for kind, name in COST_KINDS.items()},
        cost_of_sale=held(f"Expenses:COGS:{car}"),
        selling_fees=held(f"Expenses:SellingFees:{car}"),
        after_sale=held(f"Expenses:AfterSale:{car}"),
        sales=-held(f"Income:Sales:{car}"),
        other_income=other,
        cores_owed=held(cores(car)),
        minutes=under(sums, f"{MEMO_ROOT}:Time:{car}", MINUTES),
        distance_km_tenths=under(sums, f"{MEMO_ROOT}:Distance:{car}", "KM"),
        distance_mi_tenths=under(sums, f"{MEMO_ROOT}:Distance:{car}", "MI"),
    )


def is_sold(entries: Iterable[Entry], car: str) -> bool:
    """Whether a sale of the car stands in the journal."""
    return any(entry.fact("kind") == "sale" and car.lower() in entry.links[:1] for entry in standing(entries))


def open_cores(entries: Iterable[Entry], car: str, currency: str) -> tuple[OpenCore, ...]:
    """Core deposits of a car that have neither come back nor been given up, oldest first."""
    account = cores(car)
    owed: dict[int, int] = {}
    receipts: dict[int, Entry] = {}
    for entry in standing(entries):
        moved = sum(p.amount for p in entry.postings if p.account == account and p.commodity == currency)
        if moved:
            key = core_number(entry) or entry.number
            owed[key] = owed.get(key, 0) + moved
            if not core_number(entry):
                receipts[key] = entry
    return tuple(
        OpenCore(receipts[key], Money(amount, currency))
        for key, amount in owed.items()
        if amount and key in receipts
    )


def refundable(entries: Iterable[Entry], of: Entry, currency: str) -> Money:
    """Cost of a receipt that has not been refunded yet."""
    link = f"refund-of-{of.number}"

    def cost(entry: Entry) -> int:
        return sum(
            p.amount
            for p in entry.postings
            if p.commodity == currency
            and p.account.startswith(("Assets:WIP:", "Expenses:AfterSale:"))
            and not (link in entry.links and p.amount > 0)
        )

    return Money(
        sum(cost(e) for e in standing(entries) if e.number == of.number or link in e.links), currency
    )


def entry_numbered(entries: Iterable[Entry], number: int) -> Entry:
    """The booked entry with that number; BadEntry when there is none."""
    for entry in entries:
        if entry.number == number:
            return entry
    raise BadEntry(f"There is no entry {number} in the journal.", field="entry", value=number)


@dataclass(frozen=True)
class CashMove:
    """Money in (above 0) or out (below 0) on one day."""

    day: datetime.date
    amount: Money


def cash_moves(entries: Iterable[Entry], car: str, currency: str) -> tuple[CashMove, ...]:
    """Money that went out and came in for one car, by day.

    Own vehicle allowances and supplies from the shelf count as money out on the day they were used.
    """
    by_day: dict[datetime.date, int] = {}
    for entry in standing(entries):
        if car.lower() not in entry.links:
            continue
        for posting in entry.postings:
            root, *rest = posting.account.split(":")
            own = car in rest and root != "Equity"
            if own and posting.commodity == currency:
                by_day[entry.day] = by_day.get(entry.day, 0) - posting.amount
    return tuple(CashMove(day, Money(amount, currency)) for day, amount in sorted(by_day.items()) if amount)


def profit_of(cost: CarCost) -> Money:
    """Profit of a sold car.

    Parameters
    ----------
    cost
        The car's figures.

    Returns
    -------
    Money
        Income less every cost.

    Raises
    ------
    CannotSay
        If the car is not sold yet.
    """
    if not cost.sales.minor and not cost.other_income.minor:
        raise CannotSay("The car is not sold yet, so it has no profit.", missing="sale")
    return cost.profit


def lowest_cash(opening: Money, moves: Sequence[CashMove]) -> tuple[datetime.date | None, Money]:
    """Day and size of the lowest cash point of a run of planned or booked moves."""
    cash, low, when = opening, opening, None
    for move in sorted(moves, key=lambda move: move.day):
        cash += move.amount
        if cash < low:
            low, when = cash, move.day
    return when, low
