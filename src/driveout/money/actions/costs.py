"""What a car costs: the purchase, receipts, core deposits, money back, and the sums of it."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from decimal import Decimal

from driveout.cars.actions import change_stage, get_car
from driveout.cars.car import next_stages
from driveout.errors import BadEntry
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
    CarCost,
    OpenCore,
    cost_of_car,
    entry_numbered,
    open_cores,
    refundable,
)
from driveout.money.journal import (
    Entry,
    standing,
)
from driveout.store import Tx
from driveout.units import Money


def book_purchase(
    tx: Tx,
    car_id: int,
    price: Money,
    day: datetime.date,
    *,
    at: datetime.datetime,
    rate: book.Rate | None = None,
    token: str = "",
) -> Entry:
    """Book the price paid for a car, and move it on to 'bought' if it is not there yet.

    A price in another currency needs a rate. Raises BadEntry when the car's purchase stands in the
    journal already.
    """
    car, part, _ = car_and_sold(tx, car_id)
    paid, price = price, in_car_currency(car, price, rate)
    if not (token and records.by_token(tx, token)):
        for entry in standing(car_entries(tx, car_id)):
            if entry.fact("kind") == "purchase":
                raise BadEntry(
                    f"{car.name} was bought already (entry {entry.number}, {entry.day}). "
                    "Take that entry back first if it is wrong.",
                    field="price",
                    value=price.text(),
                )
    entry = as_paid(tx, book.purchase(part, price, day), paid, rate)
    entry = append_on_car(tx, car_id, entry, f"Bought for {as_said(paid, price)}", token, at)
    if "bought" in next_stages(car.stage):
        change_stage(tx, car_id, "bought", at)
    return entry


def book_receipt(
    tx: Tx,
    car_id: int,
    kind: str,
    amount: Money,
    what: str,
    shop: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    core: Money | None = None,
    line: str = "",
    quantity: Decimal = Decimal(1),
    photo: str = "",
    rate: book.Rate | None = None,
    token: str = "",
) -> Entry:
    """Book a receipt on a car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    kind
        parts, outside, fees, travel, supplies (or purchase).
    amount
        All that was paid.
    what
        What was bought.
    shop
        Where; may be empty.
    day
        Day on the receipt, not after today.
    at
        Present moment.
    core
        Part of the amount that comes back with the old unit.
    line
        Key of the frozen estimate line, empty when unplanned.
    quantity
        How many.
    photo
        Hash of the photographed receipt.
    rate
        Needed when it was paid in another currency than the car's; the core is in the same one.
    token
        Mark of the form; the same mark books once.

    Returns
    -------
    Entry
        The booked entry.

    Raises
    ------
    BadEntry
        If a value cannot be right, or the same photo was booked before on this car.
    """
    car, part, sold = car_and_sold(tx, car_id)
    not_after_today(day, at)
    paid, amount = amount, in_car_currency(car, amount, rate)
    core = None if core is None else in_car_currency(car, core, rate)
    entry = book.receipt(
        part,
        kind,
        amount,
        what,
        day,
        core=core,
        shop=shop,
        line=line,
        quantity=quantity,
        photo=photo,
        sold=sold,
    )
    if photo and not (token and records.by_token(tx, token)):
        for other in standing(car_entries(tx, car_id)):
            if other.fact("photo") == photo:
                raise BadEntry(
                    f"This photo was booked before: entry {other.number}, {other.narration!r}.", field="photo"
                )
    deposit = f", of it {core.text()} core deposit" if core and core.minor else ""
    words = f"Receipt: {what}, {as_said(paid, amount)}{deposit}"
    return append_on_car(tx, car_id, as_paid(tx, entry, paid, rate), words, token, at)


def _receipt(tx: Tx, car_id: int, number: int) -> tuple[tuple[Entry, ...], Entry]:
    entries = car_entries(tx, car_id)
    return entries, entry_numbered(standing(entries), number)


def book_core_return(
    tx: Tx,
    car_id: int,
    receipt: int,
    day: datetime.date,
    *,
    at: datetime.datetime,
    back: Money | None = None,
    token: str = "",
) -> Entry:
    """Book a core deposit that came back, in whole, in part, or (0) not at all.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    receipt
        Number of the receipt that carried the deposit.
    day
        Day of the return.
    at
        Present moment.
    back
        What came back; None means all of it.
    token
        Mark of the form.

    Returns
    -------
    Entry
        The booked entry; what did not come back is part cost.

    Raises
    ------
    BadEntry
        If no deposit is open on that receipt, or more than it would come back.
    """
    car, part, sold = car_and_sold(tx, car_id)
    before = booked_before(tx, token)
    if before is not None:
        return before
    entries, of = _receipt(tx, car_id, receipt)
    owed = next(
        (core.owed for core in open_cores(entries, part, car.currency) if core.receipt.number == receipt),
        Money(0, car.currency),
    )
    came = owed if back is None else back
    same_currency(car, came)
    entry = book.core_settled(part, of, owed, came, day, sold=sold)
    words = f"Core back: {of.narration}, {came.text()}" if came.minor else f"Core given up: {of.narration}"
    return append_on_car(tx, car_id, entry, words, token, at)


def book_refund(
    tx: Tx,
    car_id: int,
    receipt: int,
    back: Money,
    day: datetime.date,
    *,
    at: datetime.datetime,
    fee: Money | None = None,
    token: str = "",
) -> Entry:
    """Book money back on a receipt; BadEntry when it is above what was paid."""
    car, part, sold = car_and_sold(tx, car_id)
    same_currency(car, back, fee)
    before = booked_before(tx, token)
    if before is not None:
        return before
    entries, of = _receipt(tx, car_id, receipt)
    entry = book.refund(part, of, refundable(entries, of, car.currency), back, day, fee=fee, sold=sold)
    return append_on_car(tx, car_id, entry, f"Money back: {of.narration}, {back.text()}", token, at)


def cost_so_far(tx: Tx, car_id: int) -> CarCost:
    """A car's cost, income and own time as booked."""
    return cost_of_car(car_entries(tx, car_id), book.car_part(car_id), get_car(tx, car_id).currency)


def cores_open(tx: Tx, car_id: int) -> tuple[OpenCore, ...]:
    """Core deposits of a car still owed to the person."""
    part, currency = book.car_part(car_id), get_car(tx, car_id).currency
    # A balance is read at once, a journal is not, and most cars have none open.
    if not records.balances_of(tx, [book.cores(part)], currency).get(book.cores(part)):
        return ()
    return open_cores(car_entries(tx, car_id), part, currency)


def cost_by_line(tx: Tx, car_ids: Iterable[int]) -> dict[tuple[str, str], int]:
    """Cost booked on cars in progress by (car account part, key of the estimate line), in minor units."""
    return records.cost_by_line(tx, [book.car_part(car_id) for car_id in car_ids])


def owed_and_held(tx: Tx, car_ids: Iterable[int], currency: str) -> dict[int, tuple[Money, Money]]:
    """Core deposits owed to the person and deposits of buyers held, by car."""
    parts = {car_id: book.car_part(car_id) for car_id in car_ids}
    accounts = [
        name for part in parts.values() for name in (book.cores(part), f"Liabilities:Deposits:{part}")
    ]
    sums = records.balances_of(tx, accounts, currency)
    return {
        car_id: (
            Money(sums.get(book.cores(part), 0), currency),
            Money(-sums.get(f"Liabilities:Deposits:{part}", 0), currency),
        )
        for car_id, part in parts.items()
    }
