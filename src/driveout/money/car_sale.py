"""What the journal holds of one car's sale, for the papers: deposits, price, buyer, what was left to pay."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

from driveout.money.bookings import wip
from driveout.money.journal import Entry, standing
from driveout.units import Money


@dataclass(frozen=True)
class CarGone:
    """Day a car left the books, and its price; None when it went for scrap."""

    day: datetime.date
    price: Money | None


@dataclass(frozen=True)
class DepositPaid:
    """A deposit of a buyer as booked; ``paid`` says what changed hands when that was in another currency."""

    day: datetime.date
    amount: Money
    buyer: str = ""
    paid: str = ""


@dataclass(frozen=True)
class CarSale:
    """A car's sale as booked.

    Attributes
    ----------
    deposits
        Deposits that are held, or that the sale took in; those given back or kept are left out.
    price
        Price booked, None before the sale.
    day
        Day of the sale, None before.
    buyer
        Name booked with the sale, else with the last deposit.
    taken_in
        What a car in part exchange counted for.
    """

    deposits: tuple[DepositPaid, ...] = ()
    price: Money | None = None
    day: datetime.date | None = None
    buyer: str = ""
    taken_in: Money | None = None


def car_sale(entries: Iterable[Entry], car: str, currency: str) -> CarSale:
    """Read a car's sale from its journal.

    Parameters
    ----------
    entries
        Entries of the car, in the order booked.
    car
        The car's account part, ``Car-7``.
    currency
        Currency of the car.

    Returns
    -------
    CarSale
        Deposits that still count, and the sale if there is one.
    """
    account = f"Liabilities:Deposits:{car}"
    deposits: list[DepositPaid] = []
    sold: Entry | None = None
    for entry in standing(entries):
        moved = sum(p.amount for p in entry.postings if p.account == account and p.commodity == currency)
        if entry.fact("kind") == "deposit" and moved < 0:
            buyer = entry.fact("buyer")
            deposits.append(DepositPaid(entry.day, Money(-moved, currency), buyer, entry.fact("paid")))
        elif entry.fact("kind") == "sale" and car.lower() in entry.links[:1]:
            sold = entry
        elif moved > 0:
            # Settled without a sale: what came before it counts no more.
            deposits.clear()
    if sold is None:
        return CarSale(tuple(deposits), buyer=deposits[-1].buyer if deposits else "")
    price = -sum(p.amount for p in sold.postings if p.account == f"Income:Sales:{car}")
    own = f"Assets:WIP:{car}:"
    purchase = wip("Car-0", "purchase").rsplit(":", 1)[1]
    taken = sum(
        p.amount
        for p in sold.postings
        if p.account.startswith("Assets:WIP:")
        and p.account.endswith(f":{purchase}")
        and not p.account.startswith(own)
        and p.amount > 0
    )
    return CarSale(
        tuple(deposits),
        Money(price, currency) if price else None,
        sold.day,
        sold.fact("buyer") or (deposits[-1].buyer if deposits else ""),
        Money(taken, currency) if taken else None,
    )
