"""What a person books on a car. Each action balances, is booked once, and moves the car's outlook."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from driveout.cars.actions import change_stage, get_car, note_event
from driveout.cars.car import Car, next_stages
from driveout.errors import BadEntry, Conflict
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.bank_file import BankLine, Suggestion, matched
from driveout.money.bank_layout import BankLayout
from driveout.money.car_cost import (
    CarCost,
    OpenCore,
    cost_of_car,
    entry_numbered,
    is_sold,
    open_cores,
    refundable,
)
from driveout.money.cash_ahead import Planned
from driveout.money.journal import (
    Entry,
    Posting,
    balances,
    checked,
    reversed_number,
    standing,
    take_back,
    under,
)
from driveout.money.journal_file import Journal, merged
from driveout.money.year import YearSummary, year_summary
from driveout.store import Attachments, Tx
from driveout.units import Money


def _same_currency(car: Car, *amounts: Money | None) -> None:
    for amount in amounts:
        if amount is not None and amount.currency != car.currency:
            raise BadEntry(
                f"{amount.text()} is in {amount.currency}; {car.name} is kept in {car.currency}. Exchange it first.",
                field="amount",
                value=amount.text(),
                allowed=car.currency,
            )


def _book(tx: Tx, entry: Entry, token: str, at: datetime.datetime) -> tuple[Entry, bool]:
    """Append an entry; the same mark gives back what was booked before, and False."""
    checked(entry, records.closed_through(tx))
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number), False
    return replace(entry, number=records.add(tx, entry, token, at)), True


def _booked(
    tx: Tx, car_id: int, entry: Entry, summary: str, token: str, at: datetime.datetime, kind: str = "money"
) -> Entry:
    entry, fresh = _book(tx, entry, token, at)
    if fresh:
        note_event(tx, car_id, kind, summary, {"entry": entry.number}, at)
    return entry


def car_entries(tx: Tx, car_id: int) -> tuple[Entry, ...]:
    """Every entry of one car, in the order booked."""
    return records.linked(tx, [book.car_part(car_id).lower()])


def every_entry(tx: Tx) -> tuple[Entry, ...]:
    """The whole journal."""
    return records.every(tx)


def all_balances(tx: Tx) -> dict[tuple[str, str], int]:
    """Balance of every account, in minor units."""
    return records.sums(tx)


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


def year_of(tx: Tx, year: int, currency: str) -> YearSummary:
    """Income and expenses of a calendar year, by car and category."""
    if not 1970 <= year <= 9998:
        raise BadEntry(
            f"{year} is not a year of these books.", field="year", value=year, allowed="1970 to 9998"
        )
    moved = records.sums_between(tx, datetime.date(year, 1, 1), datetime.date(year, 12, 31))
    return year_summary(moved, year, currency)


def minutes_by_work(tx: Tx, car_ids: Iterable[int]) -> dict[tuple[str, str], int]:
    """Own minutes of some cars by (car account part, kind of work)."""
    return records.minutes_by_work(tx, [book.car_part(car_id) for car_id in car_ids])


def _car_and_sold(tx: Tx, car_id: int) -> tuple[Car, str, bool]:
    car = get_car(tx, car_id)
    part = book.car_part(car_id)
    return car, part, is_sold(car_entries(tx, car_id), part)


def book_own_money(
    tx: Tx, amount: Money, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Put own money into the project's bank account."""
    return _book(tx, book.own_money_in(amount, day), token, at)[0]


def book_purchase(
    tx: Tx, car_id: int, price: Money, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Book the price paid for a car, and move it on to 'bought' if it is not there yet.

    Raises BadEntry when the car's purchase stands in the journal already.
    """
    car, part, _ = _car_and_sold(tx, car_id)
    _same_currency(car, price)
    if not (token and records.by_token(tx, token)):
        for entry in standing(car_entries(tx, car_id)):
            if entry.fact("kind") == "purchase":
                raise BadEntry(
                    f"{car.name} was bought already (entry {entry.number}, {entry.day}). "
                    "Take that entry back first if it is wrong.",
                    field="price",
                    value=price.text(),
                )
    entry = _booked(tx, car_id, book.purchase(part, price, day), f"Bought for {price.text()}", token, at)
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
    car, part, sold = _car_and_sold(tx, car_id)
    _same_currency(car, amount, core)
    _not_after(day, at)
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
    return _booked(tx, car_id, entry, f"Receipt: {what}, {amount.text()}{deposit}", token, at)


def _not_after(day: datetime.date, at: datetime.datetime) -> None:
    # A day ahead is allowed: the person's clock may already show tomorrow while the record counts UTC.
    if day > at.date() + datetime.timedelta(days=1):
        raise BadEntry(
            f"{day} lies in the future. Book what has happened; plans belong in the estimate.",
            field="day",
            value=day.isoformat(),
            allowed=f"until {at.date()}",
        )


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
    car, part, sold = _car_and_sold(tx, car_id)
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number)
    entries, of = _receipt(tx, car_id, receipt)
    owed = next(
        (core.owed for core in open_cores(entries, part, car.currency) if core.receipt.number == receipt),
        Money(0, car.currency),
    )
    came = owed if back is None else back
    _same_currency(car, came)
    entry = book.core_settled(part, of, owed, came, day, sold=sold)
    words = f"Core back: {of.narration}, {came.text()}" if came.minor else f"Core given up: {of.narration}"
    return _booked(tx, car_id, entry, words, token, at)


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
    car, part, sold = _car_and_sold(tx, car_id)
    _same_currency(car, back, fee)
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number)
    entries, of = _receipt(tx, car_id, receipt)
    entry = book.refund(part, of, refundable(entries, of, car.currency), back, day, fee=fee, sold=sold)
    return _booked(tx, car_id, entry, f"Money back: {of.narration}, {back.text()}", token, at)


def book_hours(
    tx: Tx,
    car_id: int,
    kind_of_work: str,
    hours: float | Decimal,
    at: datetime.datetime,
    *,
    day: datetime.date | None = None,
    began: datetime.datetime | None = None,
    line: str = "",
    again: bool = False,
    token: str = "",
) -> Entry:
    """Book own time on a car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    kind_of_work
        In the person's words; estimates of the same kind learn from it.
    hours
        Time, above 0, at most 24; kept to the minute. [h]
    at
        Present moment.
    day
        Day of the work; None takes the day it began or today.
    began
        When a timer began, aware; the same minutes cannot be booked twice on any car.
    line
        Key of the frozen estimate line.
    again
        Whether the person says that equal work on the same day really was done twice.
    token
        Mark of the form.

    Returns
    -------
    Entry
        The booked entry.

    Raises
    ------
    BadEntry
        If the time overlaps booked time, repeats the same work of the same day unasked, or makes
        a day longer than 24 hours.
    """
    if not kind_of_work.strip():
        raise BadEntry("Say what kind of work it was.", field="kind_of_work", value=kind_of_work)
    get_car(tx, car_id)
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number)
    part = book.car_part(car_id)
    minutes = int((Decimal(str(hours)) * 60).to_integral_value())
    start = began.astimezone(datetime.UTC) if began else None
    when = day or (start.date() if start else at.date())
    _not_after(when, at)
    kind = kind_of_work.strip()
    entry = book.own_hours(
        part, minutes, kind, when, line=line, began=start.isoformat(timespec="minutes") if start else ""
    )
    near = [when + datetime.timedelta(days=step) for step in (-1, 0, 1)]
    undone = records.undone_numbers(tx)
    others = [e for e in records.hours_on(tx, near) if e.number not in undone and not reversed_number(e)]
    _refuse_double(entry, others, start, minutes, again)
    return _booked(
        tx, car_id, entry, f"Own work: {book.work_words(kind)}, {minutes / 60:.2f} h", token, at, "hours"
    )


def _refuse_double(
    entry: Entry, others: list[Entry], start: datetime.datetime | None, minutes: int, again: bool
) -> None:
    """Refuse time that overlaps booked time, repeats it unasked, or overfills a day."""
    booked_that_day = sum(other.postings[0].amount for other in others if other.day == entry.day)
    if booked_that_day + minutes > 24 * 60:
        raise BadEntry(
            f"{entry.day} would hold {(booked_that_day + minutes) / 60:.1f} h of own work, more than a day has.",
            field="hours",
            value=minutes / 60,
            allowed=f"at most {24 - booked_that_day / 60:.1f} h more",
        )
    for other in others:
        if start and other.fact("began"):
            theirs = datetime.datetime.fromisoformat(other.fact("began"))
            length = datetime.timedelta(minutes=other.postings[0].amount)
            if theirs < start + datetime.timedelta(minutes=minutes) and start < theirs + length:
                raise BadEntry(
                    f"This time overlaps entry {other.number} ({other.narration}, from {theirs:%H:%M} UTC, "
                    f"{length.total_seconds() / 3600:.2f} h). The same hour is not booked twice.",
                    field="hours",
                    value=minutes / 60,
                )
        elif (
            not start
            and not again
            and (other.day, other.postings, other.facts)
            == (
                entry.day,
                entry.postings,
                entry.facts,
            )
        ):
            raise BadEntry(
                f"The same work and time stands on {entry.day} already (entry {other.number}). "
                "If it really was done twice, say so.",
                field="hours",
                value=minutes / 60,
            )


def book_travel(
    tx: Tx,
    car_id: int,
    distance: Decimal,
    unit: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    what: str = "",
    per_unit: Decimal | None = None,
    token: str = "",
) -> Entry:
    """Book a trip for a car: distance as a memo, with an allowance per km or mile when one is given."""
    car, part, sold = _car_and_sold(tx, car_id)
    _not_after(day, at)
    tenths = int((distance * 10).to_integral_value())
    entry = book.travel(
        part, tenths, unit.upper(), day, what=what, per_unit=per_unit, currency=car.currency, sold=sold
    )
    return _booked(tx, car_id, entry, f"Trip: {tenths / 10:g} {unit.lower()}", token, at)


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
    return _book(tx, book.supplies_bought(amount, what, day, quantity, unit), token, at)[0]


def issue_supplies(
    tx: Tx, lot: int, taken: dict[int, Decimal], day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Use supplies from the shelf on one or more cars, by quantity; the cents add up."""
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number)
    shelf = next((item for item in supplies_on_shelf(tx) if item.lot.number == lot), None)
    if shelf is None:
        raise BadEntry(f"Supply {lot} is not on the shelf any more.", field="lot", value=lot)
    cars = {book.car_part(car_id): quantity for car_id, quantity in taken.items()}
    for car_id in taken:
        car = get_car(tx, car_id)
        _same_currency(car, shelf.worth)
        if car.stage == "sold":
            raise BadEntry(f"{car.name} is sold; nothing more goes into it.", field="car", value=car_id)
    entry, fresh = _book(tx, book.supplies_issued(shelf.lot, shelf.worth, shelf.left, cars, day), token, at)
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
    _not_after(day, at)
    return _book(tx, book.tool_bought(amount, what, day, uses=uses), token, at)[0]


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
    _not_after(day, at)
    bought = next((one.bought for one in tools(tx) if one.bought.number == tool), None)
    if bought is None:
        raise BadEntry(f"There is no tool {tool}.", field="tool", value=tool)
    entry = book.tool_used(book.car_part(car_id), bought, times, day)
    words = f"Tool used: {bought.narration}" + (f", {times} times" if times > 1 else "")
    return _booked(tx, car_id, entry, words, token, at)


def reverse_entry(
    tx: Tx, number: int, why: str, *, at: datetime.datetime, day: datetime.date | None = None, token: str = ""
) -> Entry:
    """Take a booked entry back by a mirror entry; the first stays as it was.

    Parameters
    ----------
    tx
        Open transaction.
    number
        Number of the entry.
    why
        Reason.
    at
        Present moment.
    day
        Day of the reversal; None takes today, or the entry's day if that is later.
    token
        Mark of the form.

    Returns
    -------
    Entry
        The mirror entry.

    Raises
    ------
    BadEntry
        If it was taken back before, or a later return, refund or sale leans on it.
    """
    done = records.by_token(tx, token)
    if done is not None:
        return entry_numbered(records.around(tx, done), done)
    near = records.around(tx, number)
    first = entry_numbered(near, number)
    entry = take_back(near, number, day or max(at.date(), first.day), why)
    cars = [int(link[4:]) for link in first.links if link.startswith("car-") and link[4:].isdigit()]
    for car_id in cars:
        part = book.car_part(car_id)
        in_progress = any(p.account.startswith(f"Assets:WIP:{part}:") for p in first.postings)
        if in_progress and first.fact("kind") != "sale" and is_sold(car_entries(tx, car_id), part):
            raise BadEntry(
                f"Car {car_id} was sold with entry {number} in its cost. Take the sale back first, or book a refund.",
                field="entry",
                value=number,
            )
    entry, fresh = _book(tx, entry, token, at)
    if fresh:
        for car_id in cars:
            note_event(tx, car_id, "money", f"Taken back: {first.narration}", {"entry": entry.number}, at)
    return entry


def book_buyer_deposit(
    tx: Tx,
    car_id: int,
    amount: Money,
    buyer: str,
    day: datetime.date,
    *,
    at: datetime.datetime,
    token: str = "",
) -> Entry:
    """Take a deposit from a buyer."""
    car, part, sold = _car_and_sold(tx, car_id)
    _same_currency(car, amount)
    if sold:
        raise BadEntry(f"{car.name} is sold already.", field="car", value=car_id)
    entry = book.buyer_deposit(part, amount, buyer, day)
    return _booked(tx, car_id, entry, f"Deposit of {amount.text()} from {buyer or 'a buyer'}", token, at)


def settle_deposit(
    tx: Tx, car_id: int, back: Money, day: datetime.date, *, at: datetime.datetime, token: str = ""
) -> Entry:
    """Give a buyer's deposit back without a sale; what is kept is income of the car."""
    car, part, _ = _car_and_sold(tx, car_id)
    _same_currency(car, back)
    held = Money(
        -under(balances(car_entries(tx, car_id)), f"Liabilities:Deposits:{part}", car.currency), car.currency
    )
    entry = book.deposit_back(part, held, back, day)
    return _booked(tx, car_id, entry, f"Deposit given back: {back.text()} of {held.text()}", token, at)


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
    car, part, _ = _car_and_sold(tx, car_id)
    _same_currency(car, amount)
    entry = book.by_product(part, amount, what, day, scrap=scrap)
    return _booked(tx, car_id, entry, f"Sold: {what}, {amount.text()}", token, at)


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
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number)
    entries, part = car_entries(tx, car_id), book.car_part(car_id)
    if is_sold(entries, part):
        raise Conflict(f"{car.name} is sold already. Take that sale back first if it fell through.")
    _same_currency(car, price, fees)
    _not_after(day, at)
    taken_in = None
    if exchange is not None:
        other = get_car(tx, exchange[0])
        _same_currency(car, exchange[1])
        if other.id == car_id:
            raise BadEntry(
                f"{car.name} cannot be taken in exchange for itself.", field="exchange", value=car_id
            )
        taken_in = book.PartExchange(book.car_part(other.id), exchange[1])
    entry = book.sale(part, price, balances(entries), day, fees=fees, buyer=buyer, exchange=taken_in)
    sold_to = f" to {buyer}" if buyer else ""
    booked = _booked(tx, car_id, entry, f"Sold for {price.text()}{sold_to}", token, at)
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
    number = records.by_token(tx, token)
    if number is not None:
        return entry_numbered(records.around(tx, number), number)
    entries, part = car_entries(tx, car_id), book.car_part(car_id)
    if is_sold(entries, part):
        raise Conflict(f"{car.name} is sold already. Take that sale back first if it fell through.")
    _same_currency(car, got)
    _not_after(day, at)
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
    booked = _booked(
        tx, car_id, book.scrapped(part, got, sums, day), f"Let go for scrap, {got.text()}", token, at
    )
    if car.stage != "sold":
        change_stage(tx, car_id, "sold", at)
    return booked


def deposits_held(tx: Tx, car_id: int) -> Money:
    """Deposits of buyers held for a car."""
    part, currency = book.car_part(car_id), get_car(tx, car_id).currency
    account = f"Liabilities:Deposits:{part}"
    return Money(-records.balances_of(tx, [account], currency).get(account, 0), currency)


def bank_layouts(tx: Tx) -> list[BankLayout]:
    """Kept layouts of banks by name."""
    return records.layouts(tx)


def keep_bank_layout(tx: Tx, layout: BankLayout) -> None:
    """Keep how a bank writes its file, in place of an earlier layout of that name."""
    records.keep_layout(tx, layout)


def forget_bank_layout(tx: Tx, name: str) -> None:
    """Forget a bank's layout; BadEntry when none has that name."""
    if not records.forget_layout(tx, name):
        raise BadEntry(f"No layout is kept under {name[:60]!r}.", field="layout", value=name[:60])


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
        _same_currency(get_car(tx, one.car_id), one.amount)
    return records.add_planned(tx, one)


def planned_money(tx: Tx) -> tuple[Planned, ...]:
    """Expected money that still stands, by day."""
    return records.planned(tx)


def drop_planned(tx: Tx, number: int, version: int) -> Planned:
    """Take expected money off the list; Conflict when another window changed it."""
    return records.drop_planned(tx, number, version)


def cost_by_line(tx: Tx, car_ids: Iterable[int]) -> dict[tuple[str, str], int]:
    """Cost booked on cars in progress by (car account part, key of the estimate line), in minor units."""
    return records.cost_by_line(tx, [book.car_part(car_id) for car_id in car_ids])


def cash_at_hand(tx: Tx, currency: str) -> Money:
    """Booked money of the project's bank account."""
    return Money(records.balances_of(tx, [book.BANK], currency).get(book.BANK, 0), currency)


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


_PICTURES = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG\r\n": "image/png", b"%PDF-": "application/pdf"}
LARGEST_PHOTO = 15_000_000


def picture_type(data: bytes) -> str:
    """Kind of a photographed receipt by its first bytes, empty when it is none we keep."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for head, kind in _PICTURES.items() if data.startswith(head)), "")


def keep_photo(home: Path, data: bytes) -> str:
    """Keep a photographed receipt and return its hash; written before anything refers to it."""
    if len(data) > LARGEST_PHOTO or not picture_type(data):
        raise BadEntry(
            f"The photo has {len(data):,} bytes and is {picture_type(data) or 'no picture'}. "
            "Use a JPEG, PNG, WebP or PDF.",
            field="photo",
            allowed=f"JPEG, PNG, WebP or PDF up to {LARGEST_PHOTO:,} bytes",
        )
    return Attachments(home / "attachments").put(data)


def photo_of(tx: Tx, home: Path, car_id: int, digest: str) -> tuple[bytes, str]:
    """A kept receipt of a car and its kind."""
    if not any(entry.fact("photo") == digest for entry in car_entries(tx, car_id)):
        raise BadEntry("No receipt of this car has that photo.", field="car", value=digest[:12])
    data = Attachments(home / "attachments").get(digest)
    return data, picture_type(data)


def close_period(tx: Tx, through: datetime.date, *, at: datetime.datetime) -> None:
    """Close the books through a day; nothing can be booked on or before it any more."""
    before = records.closed_through(tx)
    if before is not None and through < before:
        raise BadEntry(
            f"The books are closed through {before}; they are not opened again.",
            field="through",
            value=through.isoformat(),
            allowed=f"after {before}",
        )
    _not_after(through, at)
    records.close(tx, through, at)


def journal_of(tx: Tx, currency: str) -> Journal:
    """The whole journal, to export."""
    return Journal(currency, records.every(tx), records.closed_through(tx))


def import_journal(tx: Tx, journal: Journal, *, at: datetime.datetime) -> tuple[Entry, ...]:
    """Bring entries of a file into the journal; what is there already is left out.

    Parameters
    ----------
    tx
        Open transaction.
    journal
        A read journal file.
    at
        Present moment.

    Returns
    -------
    tuple of Entry
        Entries that were new.

    Raises
    ------
    BadEntry
        If one falls into a closed period or names a car that is not in this record; then none is booked.
    """
    fresh = merged(records.every(tx), journal.entries)
    cars = {link for entry in fresh for link in entry.links if link.startswith("car-") and link[4:].isdigit()}
    for link in sorted(cars):
        get_car(tx, int(link[4:]))
    renumbered: dict[int, int] = {}
    booked = []
    for entry in fresh:
        links = tuple(_renumbered(link, renumbered) for link in entry.links)
        new, _ = _book(tx, replace(entry, links=links, number=0), "", at)
        renumbered[entry.number] = new.number
        booked.append(new)
    for link in sorted(cars):
        count = sum(link in entry.links for entry in booked)
        words = f"{count} journal {'entry' if count == 1 else 'entries'} brought in from {journal.name}"
        note_event(tx, int(link[4:]), "money", words, {}, at)
    return tuple(booked)


def suggestions(tx: Tx, lines: Sequence[BankLine]) -> tuple[Suggestion, ...]:
    """What each movement of a bank file probably is."""
    return matched(lines, records.every(tx))


def book_bank_line(tx: Tx, line: BankLine, to: str, *, at: datetime.datetime) -> Entry:
    """Book one movement of a bank file; the same movement is booked once, however often its file is read.

    Parameters
    ----------
    tx
        Open transaction.
    line
        The movement.
    to
        ``car:<id>:<kind>`` for a cost of a car, ``tools``, ``overhead`` or ``own`` (the person's own money).
    at
        Present moment.

    Returns
    -------
    Entry
        The booked entry.

    Raises
    ------
    BadEntry
        If it cannot go there.
    """
    # What was taken back may be booked again; each time under a mark of its own.
    token, undone = f"bank-{line.key}", records.undone_numbers(tx)
    while records.by_token(tx, token) in undone:
        token += "+"
    what = line.text or "Bank movement"
    if to.startswith("car:"):
        _, number, kind = [*to.split(":"), "", ""][:3]
        if not number.isdigit():
            raise BadEntry(f"{to!r} names no car.", field="to", value=to)
        if line.amount.minor > 0:
            raise BadEntry(
                f"{what!r} brought money in; book it on the car as a refund, a deposit or its sale.",
                field="to",
                value=to,
            )
        return book_receipt(tx, int(number), kind, -line.amount, what, "", line.day, at=at, token=token)
    targets = {"tools": book.TOOLS, "overhead": "Expenses:Overhead", "own": "Equity:Owner"}
    if to not in targets:
        raise BadEntry(
            f"{to!r} is not a place for money.",
            field="to",
            value=to,
            allowed="car:<id>:<kind>, " + ", ".join(targets),
        )
    amount = line.amount
    postings = (
        Posting(targets[to], -amount.minor, amount.currency),
        Posting(book.BANK, amount.minor, amount.currency),
    )
    return _book(tx, Entry(line.day, what, postings, (to,)), token, at)[0]


def _renumbered(link: str, numbers: dict[int, int]) -> str:
    for word in ("reverses-", "core-of-", "refund-of-", "issue-of-"):
        rest = link[len(word) :]
        if link.startswith(word) and rest.isdigit():
            return f"{word}{numbers.get(int(rest), int(rest))}"
    return link
