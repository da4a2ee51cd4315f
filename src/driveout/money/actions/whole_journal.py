"""The journal as a whole: balances, the year, taking back, closing, bringing a file in."""

from __future__ import annotations

import datetime
from dataclasses import replace

from driveout.cars.actions import get_car, note_event
from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.entering import (
    append,
    booked_before,
    car_entries,
    not_after_today,
)
from driveout.money.car_cost import (
    entry_numbered,
    is_sold,
)
from driveout.money.journal import (
    Entry,
    take_back,
)
from driveout.money.journal_file import Journal, merged
from driveout.money.year import YearSummary, year_summary
from driveout.store import Tx


def every_entry(tx: Tx) -> tuple[Entry, ...]:
    """The whole journal."""
    return records.every(tx)


def all_balances(tx: Tx) -> dict[tuple[str, str], int]:
    """Balance of every account, in minor units."""
    return records.sums(tx)


def year_of(tx: Tx, year: int, currency: str) -> YearSummary:
    """Income and expenses of a calendar year, by car and category."""
    if not 1970 <= year <= 9998:
        raise BadEntry(
            f"{year} is not a year of these books.", field="year", value=year, allowed="1970 to 9998"
        )
    moved = records.sums_between(tx, datetime.date(year, 1, 1), datetime.date(year, 12, 31))
    return year_summary(moved, year, currency)


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
    before = booked_before(tx, token)
    if before is not None:
        return before
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
    entry, fresh = append(tx, entry, token, at)
    if fresh:
        for car_id in cars:
            note_event(tx, car_id, "money", f"Taken back: {first.narration}", {"entry": entry.number}, at)
    return entry


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
    not_after_today(through, at)
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
        new, _ = append(tx, replace(entry, links=links, number=0), "", at)
        renumbered[entry.number] = new.number
        booked.append(new)
    for link in sorted(cars):
        count = sum(link in entry.links for entry in booked)
        words = f"{count} journal {'entry' if count == 1 else 'entries'} brought in from {journal.name}"
        note_event(tx, int(link[4:]), "money", words, {}, at)
    return tuple(booked)


def _renumbered(link: str, numbers: dict[int, int]) -> str:
    for word in ("reverses-", "core-of-", "refund-of-", "issue-of-"):
        rest = link[len(word) :]
        if link.startswith(word) and rest.isdigit():
            return f"{word}{numbers.get(int(rest), int(rest))}"
    return link
