"""The journal as a file of the person's own: ``driveout-journal/1`` in YAML, or our CSV back again."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any

import yaml

from driveout.errors import BadEntry, BadRows
from driveout.files import Document, csv_table, yaml_document
from driveout.money.exports import CSV_COLUMNS, unguarded
from driveout.money.journal import (
    Entry,
    Posting,
    amount_text,
    balances,
    checked,
    commodity_digits,
    reversed_number,
)

SCHEMA = "driveout-journal/1"
_TOP = ("schema", "currency", "closed_through", "entries")
_ENTRY = ("number", "day", "what", "links", "facts", "postings")
_POSTING = ("account", "amount", "in")
_MOST_SHOWN = 50


@dataclass(frozen=True)
class Journal:
    """A whole journal: its entries with numbers, its main currency, its closed period."""

    currency: str
    entries: tuple[Entry, ...]
    closed_through: datetime.date | None = None
    name: str = field(default="journal", compare=False)

    def balances(self) -> dict[tuple[str, str], int]:
        """Balance of every account in every commodity, in minor units."""
        return balances(self.entries)


def _day(document: Document, path: tuple[Any, ...], value: object) -> datetime.date:
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    try:
        return datetime.date.fromisoformat(str(value))
    except ValueError:
        raise document.bad(
            path, f"{value!r} is not a day. Write it as 2026-05-31.", value=str(value), allowed="YYYY-MM-DD"
        ) from None


def minor_units(amount: object, commodity: str) -> int:
    """Whole minor units of a written amount; BadEntry when it has too many decimals."""
    digits = commodity_digits(commodity)
    if isinstance(amount, bool) or not isinstance(amount, (str, int, float, Decimal)):
        raise BadEntry(f"The amount {amount!r} is not a number.", field="amount", value=str(amount))
    try:
        scaled = Decimal(str(amount).strip()).scaleb(digits)
        if not scaled.is_finite():
            raise InvalidOperation
    except InvalidOperation:
        raise BadEntry(
            f"The amount {str(amount)[:40]!r} is not a plain number. Write for example -142.50, without thousands marks.",
            field="amount",
            value=str(amount)[:40],
            allowed="a plain decimal number",
        ) from None
    if abs(scaled) > 10**15 or scaled != scaled.to_integral_value():
        raise BadEntry(
            f"The amount {str(amount)[:40]} does not fit {commodity}: it has {digits} decimals and at most 15 digits.",
            field="amount",
            value=str(amount)[:40],
            allowed=f"at most {digits} decimals",
        )
    return int(scaled)


def _only(document: Document, path: tuple[Any, ...], data: object, keys: tuple[str, ...]) -> dict[str, Any]:
    if not isinstance(data, dict):
        raise document.bad(path, f"Keys {', '.join(keys)} were expected here.", value=str(data)[:60])
    for key in data:
        if key not in keys:
            raise document.bad(
                (*path, key), f"{key!r} is not a key of a journal.", value=str(key), allowed=", ".join(keys)
            )
    return data


def _listed(document: Document, path: tuple[Any, ...], data: object) -> list[Any]:
    if not isinstance(data, list):
        raise document.bad(
            path, "A list was expected here: each item begins with '- '.", value=str(data)[:60]
        )
    return data


def _entry(
    document: Document, index: int, data: object, currency: str, closed: datetime.date | None
) -> Entry:
    path: tuple[Any, ...] = ("entries", index)
    row = _only(document, path, data, _ENTRY)
    for key in ("day", "what", "postings"):
        if key not in row:
            raise document.bad(path, f"The entry has no {key!r}.", allowed=", ".join(_ENTRY))
    number = row.get("number", index + 1)
    if not isinstance(number, int) or isinstance(number, bool) or number < 1:
        raise document.bad(
            (*path, "number"), f"Entry number {number!r} is not a whole number above 0.", value=number
        )
    postings = []
    for i, raw in enumerate(_listed(document, (*path, "postings"), row["postings"])):
        here = (*path, "postings", i)
        posting = _only(document, here, raw, _POSTING)
        if "account" not in posting or "amount" not in posting:
            raise document.bad(here, "A posting needs an account and an amount.")
        commodity = str(posting.get("in", currency))
        try:
            amount = minor_units(posting["amount"], commodity)
        except BadEntry as error:
            raise document.bad(
                (*here, "amount"), error.message, value=error.value, allowed=error.allowed
            ) from error
        postings.append(Posting(str(posting["account"]), amount, commodity))
    facts = row.get("facts") or {}
    if not isinstance(facts, dict):
        raise document.bad((*path, "facts"), "Facts are pairs of name and text.", value=str(facts)[:60])
    links = _listed(document, (*path, "links"), row.get("links") or [])
    entry = Entry(
        _day(document, (*path, "day"), row["day"]),
        str(row["what"]),
        tuple(postings),
        tuple(str(link) for link in links),
        tuple((str(key), str(text)) for key, text in facts.items()),
        number,
    )
    try:
        return checked(entry, closed)
    except BadEntry as error:
        raise document.bad(path, error.message, value=error.value, allowed=error.allowed) from error


def _consistent(document: Document, entries: list[Entry]) -> list[BadEntry]:
    """Doubles and reversals that point nowhere or do not mirror."""
    bad: list[BadEntry] = []
    seen: dict[int, Entry] = {}
    taken_back: set[int] = set()
    for index, entry in enumerate(entries):
        if entry.number in seen:
            bad.append(document.bad(("entries", index), f"Entry number {entry.number} stands twice."))
        seen[entry.number] = entry
    for index, entry in enumerate(entries):
        number = reversed_number(entry)
        if not number:
            continue
        first = seen.get(number)
        mirror = first and sorted((p.account, -p.amount, p.commodity) for p in first.postings)
        own = sorted((p.account, p.amount, p.commodity) for p in entry.postings)
        if first is None or mirror != own or number in taken_back:
            bad.append(
                document.bad(
                    ("entries", index),
                    f"The entry says that it takes back entry {number}, but that entry is missing, "
                    "is not its mirror, or was taken back before.",
                    value=number,
                )
            )
        taken_back.add(number)
    return bad


def read_journal(text: str | bytes, name: str) -> Journal:
    """Read a journal file.

    Parameters
    ----------
    text
        YAML or JSON of schema ``driveout-journal/1``.
    name
        File name for messages.

    Returns
    -------
    Journal
        Every entry checked; entries without a number get their place in the file.

    Raises
    ------
    BadRows
        All entries that cannot be booked, each with file, line and key; an entry that does not
        balance says by how much.
    BadEntry
        If the file itself cannot be read.
    """
    document = yaml_document(text, name, SCHEMA)
    top = _only(document, (), document.data, _TOP)
    currency = str(top.get("currency", ""))
    try:
        commodity_digits(currency)
    except BadEntry as error:
        raise document.bad(("currency",), error.message, value=currency, allowed=error.allowed) from error
    closed = _day(document, ("closed_through",), top["closed_through"]) if top.get("closed_through") else None
    entries: list[Entry] = []
    bad: list[BadEntry] = []
    for index, data in enumerate(_listed(document, ("entries",), top.get("entries"))):
        try:
            # What stands in the file was booked before its period was closed, so the closed day does not stop it.
            entries.append(_entry(document, index, data, currency, None))
        except BadEntry as error:
            bad.append(error)
    if not bad:
        bad = _consistent(document, entries)
    if bad:
        raise BadRows(bad[:_MOST_SHOWN], f"{len(bad)} of the entries in {name} cannot be used.")
    return Journal(currency, tuple(entries), closed, name)


def journal_yaml(journal: Journal) -> str:
    """Write a journal so that ``read_journal`` gives it back."""
    data: dict[str, Any] = {"schema": SCHEMA, "currency": journal.currency}
    if journal.closed_through:
        data["closed_through"] = journal.closed_through
    data["entries"] = [
        {
            "number": entry.number,
            "day": entry.day,
            "what": entry.narration,
            **({"links": list(entry.links)} if entry.links else {}),
            **({"facts": dict(entry.facts)} if entry.facts else {}),
            "postings": [
                {"account": p.account, "amount": amount_text(p.amount, p.commodity)}
                | ({"in": p.commodity} if p.commodity != journal.currency else {})
                for p in entry.postings
            ],
        }
        for entry in journal.entries
    ]
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=120)


def journal_from_csv(data: bytes, name: str, currency: str) -> Journal:
    """Read back a CSV that driveout exported.

    Parameters
    ----------
    data
        The file.
    name
        File name for messages.
    currency
        Main currency of the journal.

    Returns
    -------
    Journal
        Rows with the same entry number form one entry.

    Raises
    ------
    BadRows
        All rows or entries that cannot be used.
    """
    table = csv_table(data, name)
    missing = [column for column in CSV_COLUMNS[:6] if column not in table.columns]
    if missing:
        raise BadEntry(
            f"{name} lacks the column(s) {', '.join(missing)}. This reads the CSV that driveout exports.",
            place=f"{name}:1",
            allowed=", ".join(CSV_COLUMNS),
        )
    bad = list(table.bad_rows)
    heads: dict[int, tuple[int, dict[str, str]]] = {}
    postings: dict[int, list[Posting]] = {}
    for row in table.rows:
        cells = row.cells
        try:
            number = int(cells["entry"])
            amount = minor_units(cells["amount"], cells["commodity"])
        except (ValueError, BadEntry) as error:
            message = (
                error.message
                if isinstance(error, BadEntry)
                else f"{cells['entry']!r} is not an entry number."
            )
            bad.append(BadEntry(message, place=f"{name}:{row.line}"))
            continue
        heads.setdefault(number, (row.line, cells))
        postings.setdefault(number, []).append(Posting(cells["account"], amount, cells["commodity"]))
    entries = []
    for number, (line, cells) in heads.items():
        pairs = [pair.partition("=") for pair in unguarded(cells.get("facts", "")).split("; ") if pair]
        try:
            day = datetime.date.fromisoformat(cells["day"])
            entry = Entry(
                day,
                unguarded(cells["what"]),
                tuple(postings[number]),
                tuple(cells.get("links", "").split()),
                tuple((key, text) for key, _, text in pairs),
                number,
            )
            entries.append(checked(entry))
        except BadEntry as error:
            bad.append(BadEntry(error.message, place=f"{name}:{line}"))
        except ValueError:
            bad.append(
                BadEntry(f"{cells['day']!r} is not a day. Write it as 2026-05-31.", place=f"{name}:{line}")
            )
    if bad:
        raise BadRows(bad[:_MOST_SHOWN], f"{len(bad)} row(s) or entries in {name} cannot be used.")
    return Journal(currency, tuple(entries), None, name)


def merged(booked: Iterable[Entry], offered: Iterable[Entry]) -> tuple[Entry, ...]:
    """Entries of an import that are not in the journal yet.

    The same day, words and postings count as the same entry; as many as are booked are left out,
    so importing a file twice adds nothing, and two honest equal entries in one file both come in.
    """

    def key(entry: Entry) -> tuple[object, ...]:
        return (
            entry.day,
            entry.narration,
            tuple(sorted((p.account, p.commodity, p.amount) for p in entry.postings)),
        )

    here: dict[tuple[object, ...], int] = {}
    for entry in booked:
        here[key(entry)] = here.get(key(entry), 0) + 1
    fresh = []
    for entry in offered:
        if here.get(key(entry), 0) > 0:
            here[key(entry)] -= 1
        else:
            fresh.append(entry)
    return tuple(fresh)
