"""Money that is expected and not booked, and what is at hand."""

from __future__ import annotations

import datetime

from driveout.cars.actions import get_car
from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.entering import (
    same_currency,
)
from driveout.money.cash_ahead import Planned
from driveout.store import Tx
from driveout.units import Money


def plan_money(tx: Tx, one: Planned, *, at: datetime.datetime) -> Planned:
    """Expect money on a day; a car's expected sale takes the place of an earlier one.

    Raises BadEntry when the day lies before today or the currency is not the car's.
    """
    if one.day < at.date() - datetime.timedelta(days=1):
        raise BadEntry(
            f"{one.day} is past. What has happened is booked, not expected.",
            field="day",
            value=one.day.isoformat(),
            allowed=f"from {at.date()}",
        )
    if one.car_id is not None:
        same_currency(get_car(tx, one.car_id), one.amount)
    return records.add_planned(tx, one)


def planned_money(tx: Tx) -> tuple[Planned, ...]:
    """Expected money that still stands, by day."""
    return records.planned(tx)


def drop_planned(tx: Tx, number: int, version: int) -> Planned:
    """Take expected money off the list; Conflict when another window changed it."""
    return records.drop_planned(tx, number, version)


def cash_at_hand(tx: Tx, currency: str) -> Money:
    """Booked money of the project's bank account."""
    return Money(records.balances_of(tx, [book.BANK], currency).get(book.BANK, 0), currency)
