"""Tables as spreadsheets write them."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.files import csv_table


def test_byte_order_mark_semicolons_and_decimal_commas() -> None:
    table = csv_table("\ufeffPrice;km\r\n1.450,50;120000\r\n".encode(), "c.csv")

    assert table.columns == ("Price", "km")
    assert table.rows[0].cells == {"Price": "1.450,50", "km": "120000"}
    assert table.decimal_comma is True


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_found(encoding: str) -> None:
    table = csv_table("Preis,Größe\n1,2\n".encode(encoding), "c.csv")

    assert table.columns == ("Preis", "Größe")


def test_a_quoted_line_break_keeps_the_line_numbers_right() -> None:
    table = csv_table(b'a,b\n"one\ntwo",2\n3,4\n', "c.csv")

    assert [row.line for row in table.rows] == [3, 4]


def test_rows_with_too_many_cells_are_set_aside_together() -> None:
    table = csv_table(b"a,b\n1,2\n1,2,3\n4,5,6\n", "c.csv")

    assert [str(bad)[:9] for bad in table.bad_rows] == ["c.csv:3: ", "c.csv:4: "]
    assert len(table.rows) == 1


@pytest.mark.parametrize(
    ("data", "words"), [(b"", "empty"), (b"a,a\n1,2\n", "twice"), (b"PK\x00\x01", "binary")]
)
def test_what_is_no_table_is_refused(data: bytes, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        csv_table(data, "c.csv")
