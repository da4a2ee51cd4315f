"""A bank's CSV: read with the bank's own columns, matched with what is booked, never booked twice."""

from __future__ import annotations

import datetime
import hashlib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from driveout.errors import BadEntry, BadRows
from driveout.files import Table
from driveout.money.bookings import BANK
from driveout.money.journal import Entry, standing
from driveout.units import Money, minor_digits, read_number

DAY_ORDERS = ("ymd", "dmy", "mdy")
# A bank shows a payment some days after the receipt says it was made.
_DAYS_APART = 5
MOST_ROWS = 5000
_HEADS = {
    "day": ("date", "day", "datum", "buchungstag", "fecha", "posted"),
    "amount": ("amount", "betrag", "importe", "montant", "value"),
    "out": ("debit", "paid out", "money out", "withdrawal", "soll"),
    "into": ("credit", "paid in", "money in", "deposit", "haben"),
    "text": ("description", "text", "narrative", "memo", "payee", "verwendungszweck", "details", "concepto"),
}


@dataclass(frozen=True)
class BankColumns:
    """How one bank writes its file.

    Parameters
    ----------
    day
        Column of the day.
    text
        Column of the words.
    amount
        Column of the signed amount; empty when money in and out have columns of their own.
    out, into
        Columns of money out and money in.
    order
        Order of the parts of a day: ymd, dmy or mdy.
    spent_is_positive
        Whether the bank writes money out without a minus.
    decimal_comma
        Whether the comma is the decimal mark; None when the file decides.
    """

    day: str
    text: str
    amount: str = ""
    out: str = ""
    into: str = ""
    order: str = "ymd"
    spent_is_positive: bool = False
    decimal_comma: bool | None = None


@dataclass(frozen=True)
class BankLine:
    """One movement; above 0 came in, below 0 went out.

    Parameters
    ----------
    day
        Day by the bank.
    amount
        Signed amount.
    text
        The bank's words.
    key
        Mark by which the same movement is known again.
    """

    day: datetime.date
    amount: Money
    text: str
    key: str


@dataclass(frozen=True)
class Suggestion:
    """What a movement probably is: an entry booked already, or nothing yet."""

    line: BankLine
    booked: Entry | None


def guessed_columns(table: Table) -> BankColumns:
    """Guess a bank's columns from its header and its days.

    Parameters
    ----------
    table
        The read file.

    Returns
    -------
    BankColumns
        To be confirmed by the person.

    Raises
    ------
    BadEntry
        If no column of days, words or amounts can be told.
    """

    def column(what: str) -> str:
        for word in _HEADS[what]:
            for name in table.columns:
                if word in name.lower():
                    return name
        return ""

    day, text, out, into = (column(what) for what in ("day", "text", "out", "into"))
    amount = "" if out and into else column("amount")
    if not day or not text or not (amount or (out and into)):
        raise BadEntry(
            f"The columns {', '.join(table.columns)[:200]} do not tell which is the day, the words and the amount. "
            "Name them.",
            field="columns",
            place=f"{table.name}:1",
        )
    order = guessed_order(table, day)
    return BankColumns(day, text, amount, "" if amount else out, "" if amount else into, order)


def guessed_order(table: Table, day: str) -> str:
    """The first order of the parts of a day that fits every row of a column; a year in front has four digits."""
    days = [row.cells.get(day, "") for row in table.rows[:500]]
    years_first = all(re.match(r"\s*\d{4}", text) for text in days)
    orders = DAY_ORDERS if years_first else DAY_ORDERS[1:]
    return next((order for order in orders if all(_day(text, order) for text in days)), "ymd")


def _day(text: str, order: str) -> datetime.date | None:
    parts = re.findall(r"\d+", text.split("T")[0].split(" ")[0])
    if len(parts) == 1 and len(parts[0]) == 8:
        cut = {"ymd": (4, 6), "dmy": (2, 4), "mdy": (2, 4)}[order]
        parts = [parts[0][: cut[0]], parts[0][cut[0] : cut[1]], parts[0][cut[1] :]]
    if len(parts) != 3:
        return None
    named = dict(zip(order, (int(part) for part in parts), strict=True))
    year = named["y"] + 2000 if named["y"] < 100 else named["y"]
    try:
        return datetime.date(year, named["m"], named["d"])
    except ValueError:
        return None


def bank_lines(table: Table, columns: BankColumns, currency: str) -> tuple[BankLine, ...]:
    """Read the movements of a bank file.

    Parameters
    ----------
    table
        The read file.
    columns
        The bank's columns.
    currency
        Currency of the account.

    Returns
    -------
    tuple of BankLine
        In the file's order; identical rows have different keys, and the same file read again the same keys.

    Raises
    ------
    BadRows
        All rows that cannot be read, with their lines.
    BadEntry
        If a column is missing or the file is too long.
    """
    for name in (columns.day, columns.text, columns.amount, columns.out, columns.into):
        if name and name not in table.columns:
            raise BadEntry(
                f"{table.name} has no column {name!r}.",
                field="columns",
                value=name,
                allowed=", ".join(table.columns),
            )
    if columns.order not in DAY_ORDERS:
        raise BadEntry(
            f"{columns.order!r} is no order of a day.",
            field="order",
            value=columns.order,
            allowed=", ".join(DAY_ORDERS),
        )
    if len(table.rows) > MOST_ROWS:
        raise BadEntry(
            f"{table.name} has {len(table.rows):,} rows; at most {MOST_ROWS:,} are taken at once. "
            "Export a shorter span.",
            place=table.name,
        )
    comma = table.decimal_comma if columns.decimal_comma is None else columns.decimal_comma
    bad = list(table.bad_rows)
    lines: list[BankLine] = []
    seen: dict[str, int] = {}
    for row in table.rows:
        try:
            amount = _amount(row.cells, columns, currency, comma)
            day = _day(row.cells.get(columns.day, ""), columns.order)
            if day is None:
                raise BadEntry(
                    f"{row.cells.get(columns.day, '')[:40]!r} is not a day in the order {columns.order}."
                )
        except BadEntry as error:
            bad.append(BadEntry(error.message, place=f"{table.name}:{row.line}"))
            continue
        text = _plain(row.cells.get(columns.text, ""))
        mark = f"{day}|{amount.minor}|{currency}|{text.lower()}"
        seen[mark] = seen.get(mark, 0) + 1
        digest = hashlib.sha256(f"{mark}|{seen[mark]}".encode()).hexdigest()[:32]
        if amount.minor:
            lines.append(BankLine(day, amount, text, digest))
    if bad:
        raise BadRows(bad[:50], f"{len(bad)} row(s) of {table.name} cannot be read.")
    return tuple(lines)


def _plain(text: str) -> str:
    shown = unicodedata.normalize("NFKC", text)
    return " ".join("".join(letter if letter.isprintable() else " " for letter in shown).split())[:300]


def _amount(cells: dict[str, str], columns: BankColumns, currency: str, comma: bool | None) -> Money:
    def number(name: str) -> Money:
        text = cells.get(name, "").strip()
        bare = re.sub(r"\b[A-Z]{3}\b|[$€£¥]", "", text)
        value = read_number(bare, comma) if bare.strip() else 0
        scaled = value * 10 ** minor_digits(currency)
        if scaled != int(scaled):
            raise BadEntry(f"{text!r} has more decimals than {currency}.")
        return Money(int(scaled), currency)

    if not any(cells.get(name, "").strip() for name in (columns.amount, columns.out, columns.into) if name):
        raise BadEntry("The row has no amount; it may be torn.")
    if columns.amount:
        amount = number(columns.amount)
        return -amount if columns.spent_is_positive else amount
    # Some banks write a minus in the column of money out, others not.
    out = abs(number(columns.out).minor) if columns.out else 0
    into = abs(number(columns.into).minor) if columns.into else 0
    return Money(into - out, currency)


def matched(
    lines: Sequence[BankLine], entries: Iterable[Entry], account: str = BANK
) -> tuple[Suggestion, ...]:
    """Find for each movement the entry that already says it.

    The same amount on the bank account within five days counts; each entry answers one movement, the
    nearest day first.

    Parameters
    ----------
    lines
        Movements of the bank.
    entries
        The journal.
    account
        The bank account in the journal.

    Returns
    -------
    tuple of Suggestion
        In the order of the movements.
    """
    open_entries: dict[tuple[int, str], list[Entry]] = {}
    for entry in standing(entries):
        moved: dict[str, int] = {}
        for p in entry.postings:
            if p.account == account:
                moved[p.commodity] = moved.get(p.commodity, 0) + p.amount
        for commodity, amount in moved.items():
            open_entries.setdefault((amount, commodity), []).append(entry)
    found: dict[int, Entry] = {}
    pairs = [
        (abs((entry.day - line.day).days), i, entry)
        for i, line in enumerate(lines)
        for entry in open_entries.get((line.amount.minor, line.amount.currency), ())
        if abs((entry.day - line.day).days) <= _DAYS_APART
    ]
    taken: set[int] = set()
    for _, i, entry in sorted(pairs, key=lambda pair: (pair[0], pair[1], pair[2].number)):
        if i not in found and entry.number not in taken:
            found[i] = entry
            taken.add(entry.number)
    return tuple(Suggestion(line, found.get(i)) for i, line in enumerate(lines))
