"""The double-entry journal: entries that balance, reversal instead of edit, closed periods."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from driveout.errors import BadEntry
from driveout.units import Money, minor_digits

# Own time is counted in whole minutes so that three times 20 minutes is an hour, not 0.99 of one.
MINUTES = "MINUTES"
USES = "USES"
MEMO_DIGITS = {MINUTES: 0, "KM": 1, "MI": 1, USES: 0}
MEMO_ROOT = "Equity:Memo"
ROOTS = ("Assets", "Liabilities", "Income", "Expenses", "Equity")

_PART = re.compile(r"[A-Z0-9][A-Za-z0-9-]*")
_LINK = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./-]{0,99}")
_FACT_KEY = re.compile(r"[a-z][a-z0-9_-]{0,39}")
_LARGEST = 10**15

Balances = Mapping[tuple[str, str], int]


@dataclass(frozen=True, slots=True)
class Posting:
    """One side of an entry.

    Parameters
    ----------
    account
        Account path such as ``Assets:WIP:Car-1:Parts``.
    amount
        Whole minor units of the commodity; above 0 adds to the account.
    commodity
        ISO 4217 code, or one of the memo commodities MINUTES, KM, MI, USES.
    """

    account: str
    amount: int
    commodity: str


@dataclass(frozen=True, slots=True)
class Entry:
    """What happened on one day, as postings that add up to zero in each commodity.

    Parameters
    ----------
    day
        Day it happened.
    narration
        One line in the person's words.
    postings
        At least two.
    links
        What it belongs to: ``car-1``, ``core-of-7``, ``reverses-12``.
    facts
        Pairs of name and text, for example shop, photo, estimate line.
    number
        Place in the journal; 0 while not yet booked.
    """

    day: datetime.date
    narration: str
    postings: tuple[Posting, ...]
    links: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    number: int = 0

    def fact(self, name: str) -> str:
        """Text of one fact, empty when it is not there."""
        for key, text in self.facts:
            if key == name:
                return text
        return ""


def commodity_digits(commodity: str) -> int:
    """Decimal digits of a currency or memo commodity."""
    return MEMO_DIGITS[commodity] if commodity in MEMO_DIGITS else minor_digits(commodity)


def amount_text(amount: int, commodity: str) -> str:
    """Write minor units as a plain decimal: ``-1450.00``."""
    digits = commodity_digits(commodity)
    return f"{Decimal(amount).scaleb(-digits):.{digits}f}"


def _spoken(amount: int, commodity: str) -> str:
    return f"{amount_text(abs(amount), commodity)} {commodity}"


def _check_posting(posting: Posting) -> None:
    account, amount = posting.account, posting.amount
    root, *rest = account.split(":")
    if root not in ROOTS or not rest or len(account) > 200 or not all(_PART.fullmatch(part) for part in rest):
        raise BadEntry(
            f"{account[:80]!r} is not an account. Begin with {', '.join(ROOTS)}, then parts joined by ':' "
            "that begin with a capital or a digit and hold letters, digits and '-'.",
            field="account",
            value=account[:80],
            allowed="for example Assets:WIP:Car-1:Parts",
        )
    if not isinstance(amount, int) or isinstance(amount, bool):
        raise BadEntry(
            f"The amount {amount!r} on {account} is not a whole number of minor units. "
            "Journal amounts are whole cents, pence, yen or minutes.",
            field="amount",
            value=str(amount),
            allowed="a whole number",
        )
    if abs(amount) > _LARGEST:
        raise BadEntry(
            f"The amount {amount} on {account} is absurdly large. Check the digits.",
            field="amount",
            value=amount,
            allowed=f"at most {_LARGEST} minor units",
        )
    commodity_digits(posting.commodity)
    if (posting.commodity in MEMO_DIGITS) != account.startswith(MEMO_ROOT + ":"):
        raise BadEntry(
            f"{posting.commodity} cannot stand on {account}: own time, distance and uses of a tool are memos without money, "
            f"they stand on {MEMO_ROOT} accounts, and money never does.",
            field="account",
            value=account,
        )


def out_of_balance(postings: Iterable[Posting]) -> dict[str, int]:
    """Commodities whose postings do not add up to zero, each with what is over."""
    sums: dict[str, int] = {}
    for posting in postings:
        sums[posting.commodity] = sums.get(posting.commodity, 0) + posting.amount
    return {commodity: amount for commodity, amount in sums.items() if amount}


def checked(entry: Entry, closed_through: datetime.date | None = None) -> Entry:
    """Return the entry when it may be booked.

    Parameters
    ----------
    entry
        The entry as made or read.
    closed_through
        Last day of the closed period, None when nothing is closed.

    Returns
    -------
    Entry
        The same entry.

    Raises
    ------
    BadEntry
        If it does not balance (says by how much), falls into a closed period, or a name,
        amount or commodity is not usable.
    """
    what = entry.narration
    if (
        not what.strip()
        or len(what) > 400
        or any(ord(letter) < 32 or 0x7F <= ord(letter) < 0xA0 for letter in what)
    ):
        raise BadEntry(
            f"The words {what[:40]!r} of an entry must be one line of 1 to 400 characters. Say what happened.",
            field="what",
            value=what[:40],
        )
    if len(entry.postings) < 2:
        raise BadEntry(
            f"Entry {what!r} has {len(entry.postings)} posting(s); it needs at least two: where from and where to.",
            field="postings",
            value=len(entry.postings),
        )
    for posting in entry.postings:
        _check_posting(posting)
    for link in entry.links:
        if not _LINK.fullmatch(link):
            raise BadEntry(
                f"{link[:40]!r} is not a link. Use letters, digits, '-', '_', '.', '/'.", field="links"
            )
    for key, text in entry.facts:
        if not _FACT_KEY.fullmatch(key) or len(text) > 400 or any(ord(letter) < 32 for letter in text):
            raise BadEntry(
                f"The fact {key[:40]!r} of {what!r} needs a small-letter name and one line of text.",
                field="facts",
                value=key[:40],
            )
    over = out_of_balance(entry.postings)
    if over:
        said = " and ".join(
            f"{_spoken(amount, commodity)} too {'much' if amount > 0 else 'little'}"
            for commodity, amount in over.items()
        )
        raise BadEntry(
            f"The entry of {entry.day} {what!r} does not balance: {said}. "
            "Its postings must add up to zero in each commodity.",
            field="postings",
            value=said,
        )
    if closed_through is not None and entry.day <= closed_through:
        raise BadEntry(
            f"{entry.day} lies in a closed period (closed through {closed_through}). "
            "Book it on a later day, or as a reversal today.",
            field="day",
            value=entry.day.isoformat(),
            allowed=f"after {closed_through}",
        )
    return entry


def reversal(entry: Entry, day: datetime.date, why: str) -> Entry:
    """Return the entry that takes a booked one back; the first stays as it was.

    Parameters
    ----------
    entry
        The booked entry, with its number.
    day
        Day of the reversal, not before the entry.
    why
        Reason in the person's words.

    Returns
    -------
    Entry
        Mirror entry, linked ``reverses-<number>``.

    Raises
    ------
    BadEntry
        If the entry is not booked, is itself a reversal, or the day lies before it.
    """
    if not entry.number:
        raise BadEntry("Only a booked entry can be reversed; this one has no number.", field="entry")
    if reversed_number(entry):
        raise BadEntry(
            f"Entry {entry.number} is itself a reversal. Book the right entry anew instead.",
            field="entry",
            value=entry.number,
        )
    if day < entry.day:
        raise BadEntry(
            f"A reversal on {day} would come before entry {entry.number} of {entry.day}. Use that day or a later one.",
            field="day",
            value=day.isoformat(),
            allowed=f"from {entry.day}",
        )
    belongs = tuple(link for link in entry.links if not link.startswith("core-of-"))
    return Entry(
        day,
        f"Taken back: {entry.narration} ({why.strip() or 'no reason given'})"[:400],
        tuple(replace(posting, amount=-posting.amount) for posting in entry.postings),
        (*belongs, f"reverses-{entry.number}"),
    )


def reversed_number(entry: Entry) -> int:
    """Number of the entry this one takes back, 0 when it is no reversal."""
    return _linked_number(entry, "reverses-")


def _linked_number(entry: Entry, prefix: str) -> int:
    for link in entry.links:
        if link.startswith(prefix) and link[len(prefix) :].isdigit():
            return int(link[len(prefix) :])
    return 0


def core_number(entry: Entry) -> int:
    """Number of the receipt whose core deposit this entry returns or gives up, 0 when none."""
    return _linked_number(entry, "core-of-")


def standing(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Entries still in force: neither taken back nor taking back."""
    entries = tuple(entries)
    gone = {reversed_number(entry) for entry in entries} - {0}
    return tuple(entry for entry in entries if entry.number not in gone and not reversed_number(entry))


def take_back(entries: Iterable[Entry], number: int, day: datetime.date, why: str) -> Entry:
    """Return the reversal of a booked entry, when nothing later leans on it.

    Parameters
    ----------
    entries
        The journal.
    number
        Number of the entry.
    day
        Day of the reversal.
    why
        Reason in the person's words.

    Returns
    -------
    Entry
        Mirror entry, not yet booked.

    Raises
    ------
    BadEntry
        If there is no such entry, it was taken back before, or a return, refund or issue leans on it.
    """
    entries = tuple(entries)
    found = next((entry for entry in entries if entry.number == number), None)
    if found is None:
        raise BadEntry(f"There is no entry {number} in the journal.", field="entry", value=number)
    in_force = standing(entries)
    if not reversed_number(found) and found not in in_force:
        raise BadEntry(f"Entry {number} was taken back before.", field="entry", value=number)
    leaning = [
        e for e in in_force if {f"{of}-of-{number}" for of in ("core", "refund", "issue")} & set(e.links)
    ]
    if leaning:
        raise BadEntry(
            f"Entry {leaning[0].number} ({leaning[0].narration!r}) leans on entry {number}. Take that one back first.",
            field="entry",
            value=number,
        )
    return reversal(found, day, why)


def numbered(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The same entries with the numbers 1, 2, 3 in the given order."""
    return tuple(replace(entry, number=number) for number, entry in enumerate(entries, 1))


def balances(entries: Iterable[Entry], through: datetime.date | None = None) -> dict[tuple[str, str], int]:
    """Balance of every account in every commodity.

    Parameters
    ----------
    entries
        The journal, any order.
    through
        Last day counted; None counts all.

    Returns
    -------
    dict
        Minor units by (account, commodity); accounts that came back to zero stay, as 0.
    """
    sums: dict[tuple[str, str], int] = {}
    for entry in entries:
        if through is not None and entry.day > through:
            continue
        for posting in entry.postings:
            key = (posting.account, posting.commodity)
            sums[key] = sums.get(key, 0) + posting.amount
    return sums


def under(sums: Balances, account: str, commodity: str) -> int:
    """Balance of an account with everything below it, in minor units of one commodity."""
    return sum(
        amount
        for (name, unit), amount in sums.items()
        if unit == commodity and (name == account or name.startswith(account + ":"))
    )


def money_under(sums: Balances, account: str, currency: str) -> Money:
    """Balance of an account with everything below it, as money."""
    return Money(under(sums, account, currency), currency)
