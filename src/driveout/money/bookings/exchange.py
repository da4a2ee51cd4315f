"""Money in another currency: the rate a person types, and what each currency holds afterwards."""

from __future__ import annotations

import datetime

from driveout.errors import BadEntry
from driveout.money.bookings.accounts import BANK, above_zero, moved
from driveout.money.journal import Entry
from driveout.units import Money


def exchanged(gave: Money, got: Money, day: datetime.date, *, source: str = BANK) -> Entry:
    """Change money into another currency; each currency balances by itself through equity."""
    above_zero(gave, "gave", "The money given")
    above_zero(got, "got", "The money received")
    if gave.currency == got.currency:
        raise BadEntry("An exchange needs two currencies.", field="got", value=got.currency)
    return Entry(
        day,
        f"Exchanged {gave.text()} for {got.text()}",
        (*moved(source, "Equity:Exchange", gave), *moved("Equity:Exchange", source, got)),
    )
