"""What a car brings: deposits of buyers, leftovers, the sale, the scrap yard."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from driveout.cars.actions import change_stage, get_car, note_event
from driveout.cars.car import next_stages
from driveout.errors import BadEntry, Conflict
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.entering import (
    append_on_car,
    as_paid,
    as_said,
    booked_before,
    car_and_sold,
    car_entries,
    in_car_currency,
    not_after_today,
    same_currency,
)
from driveout.money.car_cost import (
    is_sold,
)
from driveout.money.car_sale import CarGone, CarSale, car_sale
from driveout.money.journal import (
    Entry,
    balances,
    under,
)
from driveout.store import Tx
from driveout.units import Money


def book_buyer_deposit(
    tx: Tx,
    car_id: int,
    amount: Money,
    buyer: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    rate: book.Rate | None = None,
    token: str = "",
) -> Entry:
    """Take a deposit from a buyer; one in another currency needs a rate."""
    car, part, sold = car_and_sold(tx, car_id)
    paid, amount = amount, in_car_currency(car, amount, rate)
    if sold:
        raise BadEntry(f"{car.name} is sold already.", field="car", value=car_id)
    entry = as_paid(tx, book.buyer_deposit(part, amount, buyer, day), paid, rate)
    return append_on_car(
        tx, car_id, entry, f"Deposit of {as_said(paid, amount)} from {buyer or 'a buyer'}", token, at
    )


def settle_deposit(
    tx: Tx, car_id: int, back: Money, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Give a buyer's deposit back without a sale; what is kept is income of the car."""
    car, part, _ = car_and_sold(tx, car_id)
    same_currency(car, back)
    held = Money(
        -under(balances(car_entries(tx, car_id)), f"Liabilities:Deposits:{part}", car.currency), car.currency
    )
    entry = book.deposit_back(part, held, back, day)
    return append_on_car(tx, car_id, entry, f"Deposit given back: {back.text()} of {held.text()}", token, at)


def deposits_held(tx: Tx, car_id: int) -> Money:
    """Deposits of buyers held for a car."""
    part, currency = book.car_part(car_id), get_car(tx, car_id).currency
    account = f"Liabilities:Deposits:{part}"
    return Money(-records.balances_of(tx, [account], currency).get(account, 0), currency)


def book_by_product(
    tx: Tx,
    car_id: int,
    amount: Money,
    what: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    scrap: bool = False,
    token: str = "",
) -> Entry:
    """Sell a leftover part or scrap of a car."""
    car, part, _ = car_and_sold(tx, car_id)
    same_currency(car, amount)
    entry = book.by_product(part, amount, what, day, scrap=scrap)
    return append_on_car(tx, car_id, entry, f"Sold: {what}, {amount.text()}", token, at)


def book_sale(
    tx: Tx,
    car_id: int,
    price: Money,
    fees: Money | None,
    day: datetime.date,
    *,
    at: datetime.datetime,
    buyer: str = "",
    exchange: tuple[int, Money] | None = None,
    rate: book.Rate | None = None,
    token: str = "",
) -> Entry:
    """Sell the car: its whole work in progress becomes cost of sale, and it moves on to 'sold'.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    price
        Agreed price.
    fees
        Fees of the sale, None when none.
    day
        Day of the sale.
    at
        Present moment.
    buyer
        Name of the buyer.
    exchange
        Car taken in part exchange (its number in the record) and what it counted for; that
        becomes its purchase price.
    rate
        Needed when the price was paid in another currency than the car's.
    token
        Mark of the form.

    Returns
    -------
    Entry
        The booked sale.

    Raises
    ------
    BadEntry
        If the price is not above 0, the currency differs, or the car cannot be sold from its stage.
    Conflict
        If it is sold already.
    """
    car = get_car(tx, car_id)
    before = booked_before(tx, token)
    if before is not None:
        return before
    entries, part = car_entries(tx, car_id), book.car_part(car_id)
    if is_sold(entries, part):
        raise Conflict(f"{car.name} is sold already. Take that sale back first if it fell through.")
    paid, price = price, in_car_currency(car, price, rate)
    same_currency(car, fees)
    not_after_today(day, at)
    if paid.currency != price.currency and (exchange is not None or deposits_held(tx, car_id).minor):
        raise BadEntry(
            f"With a deposit or a car in part exchange only the rest was paid in {paid.currency}. "
            f"Exchange that rest on the page Books of the garage and book the sale in {car.currency}.",
            field="price",
            value=paid.text(),
            allowed=car.currency,
        )
    taken_in = None
    if exchange is not None:
        other = get_car(tx, exchange[0])
        same_currency(car, exchange[1])
        if other.id == car_id:
            raise BadEntry(
                f"{car.name} cannot be taken in exchange for itself.", field="exchange", value=car_id
            )
        taken_in = book.PartExchange(book.car_part(other.id), exchange[1])
    entry = book.sale(part, price, balances(entries), day, buyer=buyer, exchange=taken_in)
    entry = book.with_selling_fee(as_paid(tx, entry, paid, rate), part, fees)
    sold_to = f" to {buyer}" if buyer else ""
    booked = append_on_car(tx, car_id, entry, f"Sold for {as_said(paid, price)}{sold_to}", token, at)
    if exchange is not None:
        words = f"Taken in exchange for {exchange[1].text()}"
        note_event(tx, exchange[0], "money", words, {"entry": booked.number}, at)
        if "bought" in next_stages(get_car(tx, exchange[0]).stage):
            change_stage(tx, exchange[0], "bought", at)
    if car.stage != "sold":
        change_stage(tx, car_id, "sold", at)
    return booked


def let_car_go(
    tx: Tx, car_id: int, got: Money, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """End a car without a buyer, for whatever the scrap yard pays (0 allowed): all its cost leaves the books.

    Raises Conflict when it is sold already, BadEntry when a buyer's deposit is still held.
    """
    car = get_car(tx, car_id)
    before = booked_before(tx, token)
    if before is not None:
        return before
    entries, part = car_entries(tx, car_id), book.car_part(car_id)
    if is_sold(entries, part):
        raise Conflict(f"{car.name} is sold already. Take that sale back first if it fell through.")
    same_currency(car, got)
    not_after_today(day, at)
    held = deposits_held(tx, car_id)
    if held.minor:
        raise BadEntry(
            f"A buyer's deposit of {held.text()} is still held. Give it back or keep it first.",
            field="car",
            value=car_id,
        )
    sums = balances(entries)
    if not under(sums, f"Assets:WIP:{part}", car.currency):
        raise BadEntry(
            f"Nothing is booked on {car.name}, so there is no cost to take off the books.",
            field="car",
            value=car_id,
        )
    booked = append_on_car(
        tx, car_id, book.scrapped(part, got, sums, day), f"Let go for scrap, {got.text()}", token, at
    )
    if car.stage != "sold":
        change_stage(tx, car_id, "sold", at)
    return booked


def cars_gone(tx: Tx, car_ids: Iterable[int], currency: str) -> dict[int, CarGone]:
    """Day and price of the cars that left the books; the price is None for one that went for scrap."""
    parts = {book.car_part(car_id): car_id for car_id in car_ids}
    cost = records.last_moves(tx, [f"Expenses:COGS:{part}" for part in parts], currency)
    income = records.last_moves(tx, [f"Income:Sales:{part}" for part in parts], currency)
    found = {}
    for part, car_id in parts.items():
        if (left := cost.get(f"Expenses:COGS:{part}")) is not None:
            price = income.get(f"Income:Sales:{part}")
            found[car_id] = CarGone(left[0], Money(-price[1], currency) if price else None)
    return found


def sale_of(tx: Tx, car_id: int) -> CarSale:
    """What the journal holds of a car's sale: deposits of the buyer, and the sale itself."""
    return car_sale(car_entries(tx, car_id), book.car_part(car_id), get_car(tx, car_id).currency)
