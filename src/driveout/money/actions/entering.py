"""How an entry gets into the journal: checked, once, said in the car's trail."""

from __future__ import annotations

import datetime
from dataclasses import replace

from driveout.cars.actions import get_car, note_event
from driveout.cars.car import Car
from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.car_cost import (
    entry_numbered,
    is_sold,
)
from driveout.money.journal import (
    Entry,
    checked,
)
from driveout.store import Tx
from driveout.units import Money


def same_currency(car: Car, *amounts: Money | None) -> None:
    """Refuse an amount that is not in the car's currency."""
    for amount in amounts:
        if amount is not None and amount.currency != car.currency:
            raise BadEntry(
                f"{amount.text()} is in {amount.currency}; {car.name} is kept in {car.currency}. Exchange it first.",
                field="amount",
                value=amount.text(),
                allowed=car.currency,
            )


def in_car_currency(car: Car, amount: Money, rate: book.Rate | None) -> Money:
    """The amount in the car's currency, by the typed rate where it is in another; refused without one."""
    if amount.currency == car.currency:
        return amount
    if rate is None:
        raise BadEntry(
            f"{amount.text()} is in {amount.currency}; {car.name} is kept in {car.currency}. "
            f"Type the rate (how many {car.currency} one {amount.currency} is worth) and where it comes from.",
            field="rate",
            value=amount.text(),
            allowed=car.currency,
        )
    if rate.into != car.currency:
        raise BadEntry(
            f"The rate counts in {rate.into}; {car.name} is kept in {car.currency}.",
            field="rate",
            value=rate.into,
            allowed=car.currency,
        )
    return rate.convert(amount)


def held_of(tx: Tx, of: str, into: str) -> book.Held:
    """What is held of a currency and what it stands in the books for, by the pair's exchange account."""
    account = book.exchange_account(of, into)
    return book.Held(
        Money(-records.balances_of(tx, [account], of).get(account, 0), of),
        Money(records.balances_of(tx, [account], into).get(account, 0), into),
    )


def as_paid(tx: Tx, entry: Entry, paid: Money, rate: book.Rate | None) -> Entry:
    """The entry with its bank side in the currency that was paid; unchanged when that is its own."""
    if rate is None or paid.currency != rate.of:
        return entry
    return book.in_other_currency(entry, paid, rate, held_of(tx, rate.of, rate.into))


def as_said(amount: Money, counted: Money) -> str:
    """The amount for the trail, with what was really paid behind it."""
    return counted.text() if amount == counted else f"{counted.text()} ({amount.text()})"


def not_after_today(day: datetime.date, at: datetime.datetime) -> None:
    """Refuse a day to come."""
    # A day ahead is allowed: the person's clock may already show tomorrow while the record counts UTC.
    if day > at.date() + datetime.timedelta(days=1):
        raise BadEntry(
            f"{day} lies in the future. Book what has happened; plans belong in the estimate.",
            field="day",
            value=day.isoformat(),
            allowed=f"until {at.date()}",
        )


def booked_before(tx: Tx, token: str) -> Entry | None:
    """The entry that was booked with the same mark, None when there is none."""
    number = records.by_token(tx, token)
    return None if number is None else entry_numbered(records.around(tx, number), number)


def append(tx: Tx, entry: Entry, token: str, at: datetime.datetime) -> tuple[Entry, bool]:
    """Append an entry; the same mark gives back what was booked before, and False."""
    checked(entry, records.closed_through(tx))
    before = booked_before(tx, token)
    if before is not None:
        return before, False
    return replace(entry, number=records.add(tx, entry, token, at)), True


def append_on_car(
    tx: Tx, car_id: int, entry: Entry, summary: str, token: str, at: datetime.datetime, kind: str = "money"
) -> Entry:
    """Append an entry and say it in the car's trail; the same mark books and says it once."""
    entry, fresh = append(tx, entry, token, at)
    if fresh:
        note_event(tx, car_id, kind, summary, {"entry": entry.number}, at)
    return entry


def car_entries(tx: Tx, car_id: int) -> tuple[Entry, ...]:
    """Every entry of one car, in the order booked."""
    return records.linked(tx, [book.car_part(car_id).lower()])


def car_and_sold(tx: Tx, car_id: int) -> tuple[Car, str, bool]:
    """The car, its part of an account path, and whether it is sold."""
    car = get_car(tx, car_id)
    part = book.car_part(car_id)
    return car, part, is_sold(car_entries(tx, car_id), part)
