"""What the garage owns for all cars: supplies on the shelf, tools, own money put in."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal

from driveout.cars.actions import get_car, note_event
from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.entering import (
    append,
    append_on_car,
    booked_before,
    not_after_today,
    same_currency,
)
from driveout.money.journal import (
    Entry,
    balances,
    standing,
    under,
)
from driveout.store import Tx
from driveout.units import Money


def book_own_money(
    tx: Tx, amount: Money, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Put own money into the project's bank account."""
    return append(tx, book.own_money_in(amount, day), token, at)[0]


@dataclass(frozen=True)
class Shelf:
    """A supply on the shelf: what it was, what is left of it and what that is worth."""

    lot: Entry
    unit: str
    left: Decimal
    worth: Money


def supplies_on_shelf(tx: Tx) -> tuple[Shelf, ...]:
    """Supplies bought and not yet used up, oldest first."""
    lots = standing(records.linked(tx, ["supplies"]))
    issues = standing(records.linked(tx, [f"issue-of-{lot.number}" for lot in lots])) if lots else ()
    found = []
    for lot in lots:
        left, worth = Decimal(lot.fact("quantity")), -lot.postings[1].amount
        for issue in issues:
            if f"issue-of-{lot.number}" in issue.links:
                left -= Decimal(issue.fact("quantity"))
                worth += under(balances([issue]), book.SUPPLIES, lot.postings[1].commodity)
        if left > 0:
            found.append(Shelf(lot, lot.fact("unit"), left, Money(worth, lot.postings[1].commodity)))
    return tuple(found)


def buy_supplies(
    tx: Tx,
    amount: Money,
    what: str,
    quantity: Decimal,
    unit: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    token: str = "",
) -> Entry:
    """Buy shared supplies for the shelf."""
    return append(tx, book.supplies_bought(amount, what, day, quantity, unit), token, at)[0]


def issue_supplies(
    tx: Tx, lot: int, taken: dict[int, Decimal], day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Use supplies from the shelf on one or more cars, by quantity; the cents add up."""
    before = booked_before(tx, token)
    if before is not None:
        return before
    shelf = next((item for item in supplies_on_shelf(tx) if item.lot.number == lot), None)
    if shelf is None:
        raise BadEntry(f"Supply {lot} is not on the shelf any more.", field="lot", value=lot)
    cars = {book.car_part(car_id): quantity for car_id, quantity in taken.items()}
    for car_id in taken:
        car = get_car(tx, car_id)
        same_currency(car, shelf.worth)
        if car.stage == "sold":
            raise BadEntry(f"{car.name} is sold; nothing more goes into it.", field="car", value=car_id)
    entry, fresh = append(tx, book.supplies_issued(shelf.lot, shelf.worth, shelf.left, cars, day), token, at)
    if fresh:
        for car_id, quantity in taken.items():
            words = f"Used {quantity} {shelf.unit} of {shelf.lot.narration}"
            note_event(tx, car_id, "money", words, {"entry": entry.number}, at)
    return entry


def buy_tool(
    tx: Tx,
    amount: Money,
    what: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    uses: int = 0,
    token: str = "",
) -> Entry:
    """Buy a tool; it belongs to the garage, not to a car. ``uses`` is how often it will serve in its life."""
    not_after_today(day, at)
    return append(tx, book.tool_bought(amount, what, day, uses=uses), token, at)[0]


@dataclass(frozen=True)
class Tool:
    """A tool of the garage and how often it was used.

    Parameters
    ----------
    bought
        The entry of its purchase.
    price
        What it cost.
    life
        Uses expected in its life, 0 when not said.
    uses
        Uses so far, over all cars.
    on_car
        Uses on the car that was asked about.
    """

    bought: Entry
    price: Money
    life: int
    uses: int
    on_car: int = 0

    @property
    def per_use(self) -> Money | None:
        """Price shared over the uses it will have: those expected, or those had when they are more."""
        served = max(self.life, self.uses)
        return self.price.times(Decimal(1) / served) if served else None


def tools(tx: Tx, car_id: int | None = None) -> tuple[Tool, ...]:
    """Tools of the garage, oldest first, with their uses."""
    bought = [
        entry
        for entry in standing(records.linked(tx, ["tools"]))
        if any(p.account == book.TOOLS and p.amount > 0 for p in entry.postings)
    ]
    used = standing(records.linked(tx, [f"tool-{entry.number}" for entry in bought])) if bought else ()
    part = book.car_part(car_id).lower() if car_id is not None else ""
    found = []
    for entry in bought:
        own = [use for use in used if f"tool-{entry.number}" in use.links]
        paid = next(p for p in entry.postings if p.account == book.TOOLS)
        found.append(
            Tool(
                entry,
                Money(paid.amount, paid.commodity),
                int(entry.fact("uses") or 0),
                sum(use.postings[0].amount for use in own),
                sum(use.postings[0].amount for use in own if part in use.links),
            )
        )
    return tuple(found)


def use_tool(
    tx: Tx, car_id: int, tool: int, times: int, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Note that a tool was used on a car: a memo, no cost of the car."""
    get_car(tx, car_id)
    not_after_today(day, at)
    bought = next((one.bought for one in tools(tx) if one.bought.number == tool), None)
    if bought is None:
        raise BadEntry(f"There is no tool {tool}.", field="tool", value=tool)
    entry = book.tool_used(book.car_part(car_id), bought, times, day)
    words = f"Tool used: {bought.narration}" + (f", {times} times" if times > 1 else "")
    return append_on_car(tx, car_id, entry, words, token, at)
