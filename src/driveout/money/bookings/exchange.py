"""Money in another currency: the rate a person types, what was paid with it, gain and loss.

driveout knows no rates. Every rate is typed with its day and where it comes from, and stays with the entry.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.money.bookings.accounts import BANK, above_zero
from driveout.money.journal import Entry, Posting
from driveout.units import Money, minor_digits

EXCHANGE = "Equity:Exchange"
GAIN, LOSS = "Income:ExchangeGain", "Expenses:ExchangeLoss"
_MOST_DECIMALS, _LARGEST_RATE = 10, Decimal(10) ** 9


@dataclass(frozen=True)
class Rate:
    """How many units of one currency a unit of another was worth on a day, and who says so.

    Parameters
    ----------
    of
        Currency that was paid, ISO 4217.
    into
        Currency it is counted in.
    per_unit
        Major units of ``into`` for one major unit of ``of``.
    day
        Day of the rate.
    source
        Where it comes from, in the person's words.
    """

    of: str
    into: str
    per_unit: Decimal
    day: datetime.date
    source: str

    def __post_init__(self) -> None:
        for code in (self.of, self.into):
            minor_digits(code)
        if self.of == self.into:
            raise BadEntry(
                f"A rate needs two currencies; both are {self.of}.",
                field="rate",
                value=self.of,
                allowed="two",
            )
        places = -int(self.per_unit.as_tuple().exponent) if self.per_unit.is_finite() else 99
        if places > _MOST_DECIMALS or not 0 < self.per_unit <= _LARGEST_RATE:
            raise BadEntry(
                f"The rate {self.per_unit} is not usable. Type how many {self.into} one {self.of} is worth.",
                field="rate",
                value=str(self.per_unit),
                allowed=f"above 0, at most {_MOST_DECIMALS} decimals",
            )
        if not self.source.strip() or len(self.source) > 200 or not self.source.isprintable():
            raise BadEntry(
                "Say where the rate comes from: the bank's statement, the receipt, a published table.",
                field="rate_source",
                value=self.source[:40],
                allowed="1 to 200 characters",
            )

    def convert(self, amount: Money) -> Money:
        """The amount in the other currency, to the nearest minor unit, halves to even."""
        if amount.currency != self.of:
            raise BadEntry(
                f"The rate is for {self.of}, but the amount is {amount.text()}.",
                field="rate",
                value=amount.text(),
                allowed=self.of,
            )
        return Money.of(amount.major * self.per_unit, self.into)

    def text(self) -> str:
        """Say it: ``1 EUR = 1.08 USD on 2026-05-03, card statement``."""
        return f"1 {self.of} = {self.per_unit.normalize():f} {self.into} on {self.day}, {self.source.strip()}"


@dataclass(frozen=True)
class Held:
    """Money of another currency: how much, and what it stands in the books for.

    Parameters
    ----------
    amount
        Held; below 0 when more was spent than changed (a card that is settled later).
    worth
        What it was counted as when it came in, same sign.
    """

    amount: Money
    worth: Money


def exchange_account(of: str, into: str) -> str:
    """Account through which one currency became the other; each pair has its own."""
    return f"{EXCHANGE}:{of}-{into}"


def _closed(held: Held, change: Money, worth: Money) -> Money:
    """What is won (below 0: lost) when a change of the foreign money closes part of what is held."""
    if held.amount.minor * change.minor >= 0:
        return Money(0, worth.currency)
    part = min(abs(change.minor), abs(held.amount.minor))

    def share(whole: Money, of: Money) -> int:
        # All of it leaves nothing behind; else halves to even, as everywhere.
        return whole.minor if part == abs(of.minor) else whole.times(Decimal(part) / abs(of.minor)).minor

    return Money(-share(worth, change) - share(held.worth, held.amount), worth.currency)


def _won(amount: Money) -> tuple[Posting, ...]:
    account = GAIN if amount.minor > 0 else LOSS
    return (Posting(account, -amount.minor, amount.currency),) if amount.minor else ()


def in_other_currency(entry: Entry, paid: Money, rate: Rate, held: Held | None = None) -> Entry:
    """The same entry with its bank side in the currency that was really paid or received.

    The bank account moves in the paid currency, the other accounts in the currency of the rate; each
    currency balances through the pair's exchange account. Spending money that had been changed before at
    another rate wins or loses on the exchange line (average cost of what is held).

    Parameters
    ----------
    entry
        Entry in the rate's second currency; its bank side is the converted amount.
    paid
        What changed hands, above 0.
    rate
        The typed rate.
    held
        What is held of the paid currency before; None for nothing.

    Returns
    -------
    Entry
        Balanced in both currencies, with the rate among its facts.

    Raises
    ------
    BadEntry
        If the entry's bank side is not the converted amount.

    References
    ----------
    own-reasoning, docs/method/money.md, other currencies.
    """
    bank = sum(p.amount for p in entry.postings if p.account == BANK and p.commodity == rate.into)
    if abs(bank) != rate.convert(paid).minor:
        raise BadEntry(
            f"{paid.text()} is {rate.convert(paid).text()} at this rate, but the entry moves "
            f"{Money(abs(bank), rate.into).text()}.",
            field="rate",
            value=paid.text(),
        )
    sign = 1 if bank > 0 else -1
    change, worth = Money(sign * paid.minor, rate.of), Money(bank, rate.into)
    before = held or Held(Money(0, rate.of), Money(0, rate.into))
    won = _closed(before, change, worth)
    through = exchange_account(rate.of, rate.into)
    kept = tuple(p for p in entry.postings if not (p.account == BANK and p.commodity == rate.into))
    swapped = Posting(through, bank + won.minor, rate.into)
    return replace(
        entry,
        postings=(
            *kept,
            *((swapped,) if swapped.amount else ()),
            *_won(won),
            Posting(through, -change.minor, rate.of),
            Posting(BANK, change.minor, rate.of),
        ),
        facts=(*entry.facts, ("paid", paid.text()), ("rate", rate.text())),
    )


def exchanged(
    gave: Money,
    got: Money,
    day: datetime.date,
    *,
    base: str = "",
    held: Held | None = None,
    rate_source: str = "",
) -> Entry:
    """Change money into another currency; each currency balances by itself through the pair's account.

    Parameters
    ----------
    gave
        What left the bank account.
    got
        What came.
    day
        Day of the change.
    base
        Currency of the books, one of the two; empty takes that of ``gave``.
    held
        What was held of the other currency before; None for nothing.
    rate_source
        Where the rate comes from, in the person's words.

    Returns
    -------
    Entry
        With the gain or loss on what is closed.

    Raises
    ------
    BadEntry
        If an amount is not above 0, both are in one currency, or neither is in the currency of the books.
    """
    above_zero(gave, "gave", "The money given")
    above_zero(got, "got", "The money received")
    base = base or gave.currency
    if gave.currency == got.currency:
        raise BadEntry("An exchange needs two currencies.", field="got", value=got.currency)
    if base not in (gave.currency, got.currency):
        raise BadEntry(
            f"Neither {gave.currency} nor {got.currency} is {base}, the currency of these books. "
            f"Book it in two steps through {base}.",
            field="got",
            value=got.currency,
            allowed=base,
        )
    buys = gave.currency == base
    foreign, worth = (got, -gave) if buys else (-gave, got)
    before = held or Held(Money(0, foreign.currency), Money(0, base))
    # What is held is worth more by what was given for it: the opposite sign of the bank's side.
    won = _closed(before, foreign, -worth)
    through = exchange_account(foreign.currency, base)
    booked = Posting(through, -worth.minor + won.minor, base)
    return Entry(
        day,
        f"Exchanged {gave.text()} for {got.text()}",
        (
            Posting(BANK, worth.minor, base),
            *((booked,) if booked.amount else ()),
            *_won(won),
            Posting(through, -foreign.minor, foreign.currency),
            Posting(BANK, foreign.minor, foreign.currency),
        ),
        ("exchange",),
        (("rate", rate_source.strip()),) if rate_source.strip() else (),
    )
