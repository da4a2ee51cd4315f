"""What a car brings: deposits of buyers, leftovers, the sale, the scrap yard."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace

from driveout.errors import BadEntry
from driveout.money.bookings.accounts import BANK, above_zero, car_links, moved, said, wip
from driveout.money.journal import Entry, Posting, under
from driveout.units import Money


def buyer_deposit(car: str, amount: Money, buyer: str, day: datetime.date) -> Entry:
    """Take a deposit from a buyer: owed back until the sale."""
    above_zero(amount, "amount", "The deposit")
    return Entry(
        day,
        f"Deposit from {buyer or 'a buyer'}",
        moved(f"Liabilities:Deposits:{car}", BANK, amount),
        car_links(car),
        said(kind="deposit", buyer=buyer),
    )


def deposit_back(car: str, held: Money, back: Money, day: datetime.date) -> Entry:
    """Give a deposit back, in whole or in part; what is kept is income of the car."""
    if held.minor <= 0 or back.minor < 0 or back > held:
        raise BadEntry(
            f"{back.text()} back is outside 0 to {held.text()}, the deposit held.",
            field="back",
            value=back.text(),
            allowed=f"0 to {held.text()}",
        )
    kept = held - back
    postings = [Posting(f"Liabilities:Deposits:{car}", held.minor, held.currency)]
    if back.minor:
        postings.append(Posting(BANK, -back.minor, back.currency))
    if kept.minor:
        postings.append(Posting(f"Income:DepositsKept:{car}", -kept.minor, kept.currency))
    return Entry(day, "Deposit settled without a sale", tuple(postings), car_links(car))


def by_product(car: str, amount: Money, what: str, day: datetime.date, *, scrap: bool = False) -> Entry:
    """Sell a leftover part or scrap of a car."""
    above_zero(amount, "amount", "The amount")
    name = "Scrap" if scrap else "PartsSold"
    return Entry(
        day, what, moved(f"Income:{name}:{car}", BANK, amount), car_links(car), said(kind=name.lower())
    )


@dataclass(frozen=True)
class PartExchange:
    """A car taken in for part of the price: its account part and what it counted for."""

    car: str
    allowance: Money


def sale(
    car: str,
    price: Money,
    sums: Mapping[tuple[str, str], int],
    day: datetime.date,
    *,
    fees: Money | None = None,
    buyer: str = "",
    exchange: PartExchange | None = None,
) -> Entry:
    """Sell the car: price to income, all its work in progress to cost of sale.

    Parameters
    ----------
    car
        The car's account part.
    price
        Agreed price, above 0.
    sums
        Balances of the journal on that day.
    day
        Day of the sale.
    fees
        Fees of this sale.
    buyer
        Name of the buyer.
    exchange
        Car taken in part exchange, which becomes stock at its allowance.

    Returns
    -------
    Entry
        After it every work-in-progress account of the car is exactly 0.

    Raises
    ------
    BadEntry
        If the price is not above 0, the car holds costs in another currency, or the deposit
        and the part exchange are above the price.
    """
    if price.minor <= 0:
        raise BadEntry(
            f"A sale at {price.text()} is not a sale. A car given away or scrapped is booked as scrap.",
            field="price",
            value=price.text(),
            allowed="above 0",
        )
    currency = price.currency
    stock = {
        name: held for (name, unit), held in sums.items() if name.startswith(f"Assets:WIP:{car}:") and held
    }
    for (name, unit), held in sums.items():
        if (
            held
            and unit != currency
            and name.startswith((f"Assets:WIP:{car}:", f"Liabilities:Deposits:{car}"))
        ):
            raise BadEntry(
                f"The car holds {unit} on {name}, but the sale is in {currency}. Exchange it first.",
                field="price",
                value=currency,
                allowed=unit,
            )
    deposit = -under(sums, f"Liabilities:Deposits:{car}", currency)
    taken_in = exchange.allowance.minor if exchange else 0
    if exchange and exchange.allowance.currency != currency:
        raise BadEntry("The part exchange must count in the currency of the sale.", field="exchange")
    cash = price.minor - deposit - taken_in
    if cash < 0 or taken_in < 0:
        raise BadEntry(
            f"Deposit and part exchange are above the price of {price.text()}. Give the difference back first.",
            field="price",
            value=price.text(),
        )
    cost = sum(stock.values())
    wanted = [
        Posting(BANK, cash, currency),
        Posting(f"Liabilities:Deposits:{car}", deposit, currency),
        Posting(wip(exchange.car, "purchase"), taken_in, currency)
        if exchange
        else Posting(BANK, 0, currency),
        Posting(f"Income:Sales:{car}", -price.minor, currency),
        Posting(f"Expenses:COGS:{car}", cost, currency),
        *(Posting(name, -held, currency) for name, held in sorted(stock.items())),
    ]
    links = car_links(car, exchange.car.lower() if exchange else "")
    words = f"Sold the car{f' to {buyer}' if buyer else ''}, {price.text()}"
    entry = Entry(
        day, words[:400], tuple(p for p in wanted if p.amount), links, said(kind="sale", buyer=buyer)
    )
    return with_selling_fee(entry, car, fees)


def with_selling_fee(entry: Entry, car: str, fee: Money | None) -> Entry:
    """The sale with what selling cost, an expense of the car."""
    if fee is None or not fee.minor:
        return entry
    if fee.minor < 0:
        raise BadEntry(
            f"Fees of {fee.text()} are below 0.", field="fees", value=fee.text(), allowed="0 or more"
        )
    return replace(entry, postings=(*entry.postings, *moved(BANK, f"Expenses:SellingFees:{car}", fee)))


def scrapped(car: str, got: Money, sums: Mapping[tuple[str, str], int], day: datetime.date) -> Entry:
    """End a project without a buyer: whatever the scrap man pays, all cost leaves the books."""
    stock = {
        name: held
        for (name, unit), held in sums.items()
        if name.startswith(f"Assets:WIP:{car}:") and unit == got.currency and held
    }
    wanted = [
        Posting(BANK, got.minor, got.currency),
        Posting(f"Income:Scrap:{car}", -got.minor, got.currency),
        Posting(f"Expenses:COGS:{car}", sum(stock.values()), got.currency),
        *(Posting(name, -held, got.currency) for name, held in sorted(stock.items())),
    ]
    return Entry(
        day,
        "Let the car go for scrap",
        tuple(p for p in wanted if p.amount),
        car_links(car),
        said(kind="sale"),
    )
