"""How one bank writes its file, named once and used again for every later file of the same kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from driveout.errors import BadEntry
from driveout.files import Table, csv_table
from driveout.money.bank_file import DAY_ORDERS, MOST_ROWS, BankColumns, guessed_columns, guessed_order

# Name for the person -> name of the code table; the empty one lets the file tell.
ENCODINGS = {
    "": "",
    "UTF-8": "utf-8-sig",
    "UTF-16": "utf-16",
    "Western European (Windows 1252)": "cp1252",
    "Central European (Windows 1250)": "cp1250",
    "Cyrillic (Windows 1251)": "cp1251",
}

# A row may hold line breaks within quotes; no bank writes so many in every row.
_LINES_A_ROW = 4


@dataclass(frozen=True)
class BankLayout:
    """One bank's way of writing.

    Parameters
    ----------
    name
        What the person calls it, 1 to 60 characters.
    columns
        Columns, order of the day, sign and decimal mark.
    encoding
        One of ``ENCODINGS``; empty when the file tells.
    header
        Every column of the file it was kept from: by these a later file is known.
    """

    name: str
    columns: BankColumns
    encoding: str = ""
    header: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip() or len(self.name) > 60:
            raise BadEntry(
                "Give the bank's layout a name of 1 to 60 characters.", field="keep_as", value=self.name[:60]
            )
        if self.encoding not in ENCODINGS:
            raise BadEntry(
                f"{self.encoding[:40]!r} is not an encoding that can be read.",
                field="encoding",
                value=self.encoding[:40],
                allowed=", ".join(name for name in ENCODINGS if name),
            )
        if self.columns.order not in DAY_ORDERS:
            raise BadEntry(
                f"{self.columns.order!r} is no order of a day.",
                field="order",
                value=self.columns.order,
                allowed=", ".join(DAY_ORDERS),
            )

    def as_data(self) -> dict[str, Any]:
        """The layout without its name, as plain data to keep."""
        return {"columns": dict(vars(self.columns)), "encoding": self.encoding, "header": list(self.header)}


def layout_from(name: str, data: Mapping[str, Any]) -> BankLayout:
    """The kept layout."""
    return BankLayout(name, BankColumns(**data["columns"]), data["encoding"], tuple(data["header"]))


def bank_table(data: bytes, name: str, encoding: str = "") -> Table:
    """Read a bank's CSV in a stated encoding.

    Parameters
    ----------
    data
        The file's bytes.
    name
        Its name, for messages.
    encoding
        One of ``ENCODINGS``; empty lets the file tell.

    Returns
    -------
    Table
        As ``csv_table`` reads it.

    Raises
    ------
    BadEntry
        If the bytes do not fit the encoding, or there are far more lines than rows that are taken; the
        latter is said before anything is read, so that a huge file costs neither time nor memory.
    """
    lines = data.count(b"\n")
    if lines > _LINES_A_ROW * MOST_ROWS:
        raise BadEntry(
            f"{name} has {lines:,} lines; at most {MOST_ROWS:,} rows are taken at once. Export a shorter span.",
            field="bank",
            place=name,
            allowed=f"at most {MOST_ROWS:,} rows",
        )
    if not encoding:
        return csv_table(data, name)
    try:
        text = data.decode(ENCODINGS[encoding])
    except (UnicodeError, KeyError) as error:
        raise BadEntry(
            f"{name} is not written in {encoding}. Choose another encoding, or let the file tell.",
            field="encoding",
            value=encoding,
            allowed=", ".join(one for one in ENCODINGS if one),
            place=name,
        ) from error
    return csv_table(text.encode(), name)


def known_layout(header: Iterable[str], layouts: Iterable[BankLayout]) -> BankLayout | None:
    """The kept layout whose file had the same columns; None when there is none or more than one."""
    columns = tuple(header)
    found = [layout for layout in layouts if layout.header == columns]
    return found[0] if len(found) == 1 else None


def stated_columns(table: Table, said: Mapping[str, Any], before: BankColumns | None = None) -> BankColumns:
    """Columns as the person stated them, the rest as kept before or guessed from the file.

    Parameters
    ----------
    table
        The read file.
    said
        Any of the fields of ``BankColumns``; empty ones say nothing. ``amount`` and the pair ``out``
        and ``into`` exclude each other: stating one drops the other.
    before
        Columns of a kept layout.

    Returns
    -------
    BankColumns
        What the file is read with.

    Raises
    ------
    BadEntry
        If neither statement nor guess tells the day, the words and the amount.
    """
    given = {name: value for name, value in said.items() if value not in ("", None)}
    amounts = {"amount"} if "amount" in given else {"out", "into"} if {"out", "into"} & set(given) else set()
    if before is None and {"day", "text"} <= set(given) and amounts:
        before = BankColumns(given["day"], given["text"])
        if "order" not in given:
            given["order"] = guessed_order(table, given["day"])
    if before is None:
        before = guessed_columns(table)
    kept = dict(vars(before))
    if amounts:
        kept |= {name: "" for name in ("amount", "out", "into")}
    return BankColumns(**(kept | given))
