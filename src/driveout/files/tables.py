"""CSV as spreadsheets really write it: byte order marks, semicolons, decimal commas."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

from driveout.errors import BadEntry

LARGEST_BYTES = 100_000_000


@dataclass(frozen=True)
class Row:
    """One data row: its line in the file (from 1) and its cells by column name."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True)
class Table:
    """A read table; ``decimal_comma`` tells how its numbers are written (None: not decided by the file)."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal_comma: bool | None
    bad_rows: tuple[BadEntry, ...] = ()


def csv_table(data: bytes, name: str) -> Table:
    """Read a CSV file exported from a spreadsheet.

    Encoding (UTF-8 with or without byte order mark, UTF-16, else Windows-1252) and separator
    (comma, semicolon, tab) are found from the content.

    Parameters
    ----------
    data
        The file's bytes.
    name
        Its name, for messages.

    Returns
    -------
    Table
        Columns from the first non-empty line; rows with too many cells are set aside in ``bad_rows``.

    Raises
    ------
    BadEntry
        If the file is too large, empty, binary, or has no header with distinct names.
    """
    if len(data) > LARGEST_BYTES:
        raise BadEntry(
            f"{name} has {len(data):,} bytes; the limit is {LARGEST_BYTES:,}. Split it.",
            place=name,
            allowed=f"at most {LARGEST_BYTES:,} bytes",
        )
    text = _decoded(data, name)
    separator = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=False)
    columns: tuple[str, ...] = ()
    rows: list[Row] = []
    bad: list[BadEntry] = []
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if not columns:
                columns = _header(stripped, name, reader.line_num)
                continue
            if len(stripped) > len(columns) and any(stripped[len(columns) :]):
                bad.append(
                    BadEntry(
                        f"The row has {len(stripped)} cells, the header {len(columns)}. "
                        "A text with the separator in it needs quotes.",
                        place=f"{name}:{reader.line_num}",
                    )
                )
                continue
            rows.append(Row(reader.line_num, dict(zip(columns, stripped, strict=False))))
    except csv.Error as error:
        raise BadEntry(f"The table is torn: {error}.", place=f"{name}:{reader.line_num}") from error
    if not columns:
        raise BadEntry(f"{name} is empty. The first line should name the columns.", place=f"{name}:1")
    return Table(name, columns, tuple(rows), _decimal_comma(rows, separator), tuple(bad))


def _decoded(data: bytes, name: str) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    if "\x00" in text:
        raise BadEntry(f"{name} holds binary zeros; it is not a text table. Export it as CSV.", place=name)
    return text


def _separator(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "")
    counts = {mark: first.count(mark) for mark in (";", "\t", ",")}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] else ","


def _header(cells: list[str], name: str, line: int) -> tuple[str, ...]:
    while cells and not cells[-1]:
        cells.pop()
    doubles = {cell for cell, times in Counter(cells).items() if cell and times > 1}
    if doubles:
        raise BadEntry(
            f"The column {sorted(doubles)[0]!r} stands twice in the header. Give each column its own name.",
            place=f"{name}:{line}",
        )
    return tuple(cell or f"column {i + 1}" for i, cell in enumerate(cells))


def _decimal_comma(rows: list[Row], separator: str) -> bool | None:
    """Decide from the cells: a comma with other than three digits behind it can only be a decimal mark."""
    comma = point = 0
    for row in rows[:2000]:
        for cell in row.cells.values():
            if re.fullmatch(r"-?[\d.\s']*\d,(\d{1,2}|\d{4,})", cell):
                comma += 1
            elif re.fullmatch(r"-?[\d,\s']*\d\.(\d{1,2}|\d{4,})", cell):
                point += 1
    if comma != point:
        return comma > point
    return True if separator == ";" and comma else None
