"""The bank's CSV: how each bank writes it, what a movement probably is, booking it once."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from driveout.errors import BadEntry
from driveout.money import bookings as book
from driveout.money import records
from driveout.money.actions.costs import book_receipt
from driveout.money.actions.entering import (
    append,
)
from driveout.money.bank_file import BankLine, Suggestion, matched
from driveout.money.bank_layout import BankLayout
from driveout.money.journal import (
    Entry,
    Posting,
)
from driveout.store import Tx


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
    return append(tx, Entry(line.day, what, postings, (to,)), token, at)[0]
