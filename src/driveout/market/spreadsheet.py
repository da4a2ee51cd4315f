"""Comparables as a table: which column means what, in the words and languages people head them with."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date

from driveout.errors import BadEntry, BadRows
from driveout.files import csv_table
from driveout.market.adverts_text import comparables_from_adverts
from driveout.market.comparables import Comparable
from driveout.market.written import KIND_WORDS, TITLE_WORDS, comparable_from_texts

MOST_ROWS = 50_000
MOST_BAD_ROWS_SHOWN = 200

# The words people write for each column; compared in lower case without marks.
_COLUMNS: dict[str, tuple[str, ...]] = {
    "price": (
        "price",
        "asking price",
        "asked",
        "ask",
        "amount",
        "preis",
        "prix",
        "precio",
        "prezzo",
        "prijs",
    ),
    "sold_price": ("sold price", "sale price", "sold for"),
    "currency": ("currency", "ccy", "wahrung", "devise", "moneda", "valuta"),
    "mileage_km": (
        *("km", "kms", "mileage km", "kilometers", "kilometres", "kilometer", "odometer km", "kilometrage"),
        *("kilometerstand", "km stand", "kilometros", "chilometri"),
    ),
    "mileage_mi": ("miles", "mi", "mileage mi", "mileage miles", "odometer mi", "odometer miles"),
    "mileage": ("mileage", "odometer", "distance", "clock"),
    "mileage_unit": ("mileage unit", "distance unit", "unit"),
    "made_year": (
        *("year", "model year", "made year", "made", "baujahr", "jahr", "annee", "ano", "anno", "bouwjaar"),
        *("first registration", "mfg year"),
    ),
    "age_years": ("age", "age years", "years", "years old", "alter"),
    "age_months": ("age months", "months", "months old"),
    "kind": ("kind", "type", "asking or sold", "status", "sold"),
    "listed": ("listed", "listed on", "advert date", "published"),
    "seen": ("seen", "date", "date seen", "first seen", "seen on", "datum"),
    "last_seen": ("last seen", "still there"),
    "gone": ("gone", "gone on", "gone since", "vanished"),
    "condition": ("condition", "state", "zustand"),
    "title_status": ("title status", "title", "brand"),
    "options": ("options", "extras", "equipment", "features"),
    "place": ("place", "town", "location", "city", "ort"),
    "name": ("name", "advert", "car", "model", "description", "link", "url"),
}
_BY_HEADER = {word: column for column, words in _COLUMNS.items() for word in words}


def comparables_from_csv(
    data: bytes, name: str, *, currency: str, today: date, mileage_unit: str = "km"
) -> tuple[Comparable, ...]:
    """Read comparables from a table exported from a spreadsheet.

    Parameters
    ----------
    data
        The file's bytes.
    name
        Its name, for messages.
    currency
        Currency of prices that carry none. ISO 4217.
    today
        The day it is; nothing may be dated later.
    mileage_unit
        ``km`` or ``mi`` for a distance column that names no unit.

    Returns
    -------
    tuple of Comparable
        In the order of the rows.

    Raises
    ------
    BadRows
        If rows cannot be used: every one with its line and reason. Nothing is half-read.
    BadEntry
        If the table has no price column, neither year nor age, or too many rows.
    """
    # Counted before anything is taken apart: a million rows as cells would fill a small machine's memory.
    lines = data.count(b"\n")
    if lines > 4 * MOST_ROWS:
        raise _too_many(lines, name)
    table = csv_table(_without_sep_line(data), name)
    if len(table.rows) > MOST_ROWS:
        raise _too_many(len(table.rows), name)
    meaning = _meaning(table.columns, name)
    _drop_false_friends(meaning, [row.cells for row in table.rows])
    found: list[Comparable] = []
    wrong: list[BadEntry] = list(table.bad_rows)
    for row in table.rows:
        place = f"{name}:{row.line}"
        cells: dict[str, str] = {}
        specs: dict[str, str] = {}
        for column, text in row.cells.items():
            to = meaning[column]
            if to.startswith("spec:"):
                specs[to[5:]] = text
            elif to and not cells.get(to):
                cells[to] = text
        try:
            found.append(
                comparable_from_texts(
                    cells,
                    specs,
                    currency=currency,
                    today=today,
                    mileage_unit=mileage_unit,
                    decimal_comma=table.decimal_comma,
                    origin=place,
                )
            )
        except BadRows as error:
            wrong += [_placed(entry, place) for entry in error.entries]
        except BadEntry as error:
            wrong.append(_placed(error, place))
    if wrong:
        shown = sorted(wrong, key=lambda entry: _line_of(entry.place))
        more = len(shown) - MOST_BAD_ROWS_SHOWN
        raise BadRows(
            shown[:MOST_BAD_ROWS_SHOWN],
            f"{name}: {len(wrong)} of {len(table.rows) + len(table.bad_rows)} rows cannot be used; nothing was taken. "
            "Correct or delete them." + (f" The first {MOST_BAD_ROWS_SHOWN} are shown." if more > 0 else ""),
        )
    if not found:
        raise BadEntry(
            f"{name} has a header but no rows. Add one row per car.", field="file", place=f"{name}:1"
        )
    return tuple(found)


def comparables_from_paste(
    text: str, *, currency: str, today: date, mileage_unit: str = "km"
) -> tuple[Comparable, ...]:
    """Read comparables pasted as cells with a header row, or as the text of adverts.

    Parameters
    ----------
    text
        What was pasted.
    currency
        Currency of prices that carry none. ISO 4217.
    today
        The day it is.
    mileage_unit
        ``km`` or ``mi`` for a distance column that names no unit.

    Returns
    -------
    tuple of Comparable
        One per row, or per block of advert text.

    Raises
    ------
    BadEntry
        If nothing was pasted, or what was cannot be used; see `comparables_from_csv` and
        `comparables_from_adverts`.
    """
    if not text.strip():
        raise BadEntry(
            "Nothing was pasted. Copy the cells with their header row, or the text of adverts.", field="paste"
        )
    if not _has_header(text):
        return comparables_from_adverts(text, currency=currency, today=today)
    return comparables_from_csv(
        text.encode(), "pasted text", currency=currency, today=today, mileage_unit=mileage_unit
    )


def _has_header(text: str) -> bool:
    """Whether the first line names columns: one of them a price, or none of them with a digit."""
    first = next(line for line in text.splitlines() if line.strip())
    cells = re.split(r"[\t;,]", first)
    named = {_BY_HEADER.get(_plain(re.sub(r"[(\[].*?[)\]]", "", cell))) for cell in cells}
    return len(cells) > 1 and ("price" in named or "sold_price" in named or not re.search(r"\d", first))


def _plain(header: str) -> str:
    folded = header.casefold().translate(str.maketrans("äöüéèàñô", "aoueeano"))
    return re.sub(r"[^a-z0-9]+", " ", folded).strip()


def _meaning(columns: Sequence[str], name: str) -> dict[str, str]:
    """What each column of the file stands for; an unknown one stands for nothing."""
    meaning: dict[str, str] = {}
    for column in columns:
        plain = _plain(column)
        if plain.startswith("spec ") and len(plain) > 5:
            meaning[column] = "spec:" + plain[5:]
            continue
        unit = re.search(r"[(\[]\s*(km|mi|miles|[A-Za-z]{3})\s*[)\]]", column)
        bare = _plain(re.sub(r"[(\[].*?[)\]]", "", column))
        found = _BY_HEADER.get(plain) or _BY_HEADER.get(bare, "")
        if found == "mileage" and unit:
            found = "mileage_km" if unit.group(1).lower() == "km" else "mileage_mi"
        meaning[column] = found
    has = set(meaning.values())
    if not has & {"price", "sold_price"}:
        raise BadEntry(
            f"{name} has no price column. Its columns are: {', '.join(columns)[:200]}.",
            field="price",
            allowed="a column called price",
            fix="Name the columns in the first row, for example: price, km, year.",
            place=f"{name}:1",
        )
    if not has & {"made_year", "age_years", "age_months"}:
        raise BadEntry(
            f"{name} has neither a year nor an age column. Its columns are: {', '.join(columns)[:200]}.",
            field="made_year",
            allowed="a column called year or age",
            fix="Add one; without it cars of different age cannot be compared.",
            place=f"{name}:1",
        )
    return meaning


def _drop_false_friends(meaning: dict[str, str], rows: Sequence[Mapping[str, str]]) -> None:
    """A column "title" may hold the advert's headline, "type" or "status" anything: believe the cells."""
    for column, to in meaning.items():
        cells = {row.get(column, "").casefold().strip().replace("-", " ") for row in rows}
        if to == "title_status" and _plain(column) == "title" and not cells <= set(TITLE_WORDS):
            meaning[column] = "name"
        if to == "kind" and _plain(column) in ("type", "status") and not cells <= set(KIND_WORDS):
            meaning[column] = ""


def _too_many(rows: int, name: str) -> BadEntry:
    return BadEntry(
        f"{name} has {rows:,} rows; at most {MOST_ROWS:,} are read. Keep the cars most like yours: "
        "sort by model, year and distance in the spreadsheet and delete the rest.",
        field="file",
        value=rows,
        allowed=f"up to {MOST_ROWS:,} rows",
        place=name,
    )


def _placed(entry: BadEntry, place: str) -> BadEntry:
    entry.place = entry.place or f"{place} {entry.field}".strip()
    return entry


def _line_of(place: str) -> int:
    match = re.search(r":(\d+)", place)
    return int(match.group(1)) if match else 0


def _without_sep_line(data: bytes) -> bytes:
    """Drop the line ``sep=;`` that one spreadsheet program writes before the header."""
    return re.sub(rb"\A(\xef\xbb\xbf)?sep=.\r?\n", b"", data)
