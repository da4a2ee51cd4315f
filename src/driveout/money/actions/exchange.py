"""Money of other currencies: changing it, and what is held of it."""

from __future__ import annotations

import datetime

from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.entering import append, held_of, not_after_today
from driveout.money.journal import MEMO_DIGITS, Entry
from driveout.store import Tx
from driveout.units import Money


def exchange_money(
    tx: Tx,
    gave: Money,
    got: Money,
    day: datetime.date,
    *,
    base: str,
    rate_source: str,
    at: datetime.datetime,
    token: str = "",
) -> Entry:
    """Change money of the bank account into another currency.

    Parameters
    ----------
    tx
        Open transaction.
    gave
        What left the bank account.
    got
        What came, in another currency.
    day
        Day of the change.
    base
        Currency of the books, one of the two.
    rate_source
        Where the amounts come from, in the person's words.
    at
        Present moment.
    token
        Mark of the form.

    Returns
    -------
    Entry
        The booked entry, with gain or loss on what it closes.

    Raises
    ------
    BadEntry
        If the currencies do not fit, the source is missing, or the day lies ahead.
    """
    not_after_today(day, at)
    if not rate_source.strip():
        raise BadEntry(
            "Say where the amounts come from: the bank's statement, the receipt of the exchange office.",
            field="rate_source",
        )
    other = got.currency if gave.currency == base else gave.currency
    held = held_of(tx, other, base) if other != base else None
    entry = book.exchanged(gave, got, day, base=base, held=held, rate_source=rate_source)
    return append(tx, entry, token, at)[0]


def other_money(tx: Tx, base: str) -> tuple[book.Held, ...]:
    """What is held of each other currency, and what it stands in the books for."""
    found = []
    for (account, commodity), amount in sorted(records.sums(tx, f"{book.EXCHANGE}:").items()):
        of = account.rsplit(":", 1)[1].removesuffix(f"-{base}")
        if commodity == of and amount:
            found.append(held_of(tx, of, base))
    return tuple(found)


def currencies_moved(tx: Tx, year: int, first: str) -> tuple[str, ...]:
    """Currencies of the entries of a year, the one named first always and first."""
    moved = records.sums_between(tx, datetime.date(year, 1, 1), datetime.date(year, 12, 31))
    others = {unit for (_, unit), amount in moved.items() if amount} - {first, *MEMO_DIGITS}
    return (first, *sorted(others))
