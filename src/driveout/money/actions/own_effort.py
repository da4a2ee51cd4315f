"""Own time and trips on a car."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from decimal import Decimal

from driveout.cars.actions import get_car
from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.entering import (
    append_on_car,
    booked_before,
    car_and_sold,
    not_after_today,
)
from driveout.money.journal import (
    Entry,
    reversed_number,
)
from driveout.store import Tx


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
    before = booked_before(tx, token)
    if before is not None:
        return before
    part = book.car_part(car_id)
    minutes = int((Decimal(str(hours)) * 60).to_integral_value())
    start = began.astimezone(datetime.UTC) if began else None
    when = day or (start.date() if start else at.date())
    not_after_today(when, at)
    kind = kind_of_work.strip()
    entry = book.own_hours(
        part, minutes, kind, when, line=line, began=start.isoformat(timespec="minutes") if start else ""
    )
    near = [when + datetime.timedelta(days=step) for step in (-1, 0, 1)]
    undone = records.undone_numbers(tx)
    others = [e for e in records.hours_on(tx, near) if e.number not in undone and not reversed_number(e)]
    _refuse_double(entry, others, start, minutes, again)
    return append_on_car(
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
    car, part, sold = car_and_sold(tx, car_id)
    not_after_today(day, at)
    tenths = int((distance * 10).to_integral_value())
    entry = book.travel(
        part, tenths, unit.upper(), day, what=what, per_unit=per_unit, currency=car.currency, sold=sold
    )
    return append_on_car(tx, car_id, entry, f"Trip: {tenths / 10:g} {unit.lower()}", token, at)


def minutes_by_work(tx: Tx, car_ids: Iterable[int]) -> dict[tuple[str, str], int]:
    """Own minutes of some cars by (car account part, kind of work)."""
    return records.minutes_by_work(tx, [book.car_part(car_id) for car_id in car_ids])
