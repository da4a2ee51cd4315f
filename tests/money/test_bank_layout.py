"""A bank's way of writing is named once and read the same way again."""

from __future__ import annotations

import datetime

import pytest

from driveout.errors import BadEntry
from driveout.files import csv_table
from driveout.money.bank_file import BankColumns, bank_lines
from driveout.money.bank_layout import (
    BankLayout,
    bank_table,
    known_layout,
    layout_from,
    stated_columns,
)

ODD = "Wann;Wofür;Wieviel\n01.02.26;Kupplung;1.234,50\n03.02.26;Öl;9,90\n"
LAYOUT = BankLayout(
    "Corner bank",
    BankColumns("Wann", "Wofür", "Wieviel", order="dmy", spent_is_positive=True, decimal_comma=True),
    "Western European (Windows 1252)",
    ("Wann", "Wofür", "Wieviel"),
)


def test_a_kept_layout_comes_back_whole() -> None:
    assert layout_from("Corner bank", LAYOUT.as_data()) == LAYOUT


def test_a_file_with_the_same_columns_is_known_and_read_the_kept_way() -> None:
    table = bank_table(ODD.encode("cp1252"), "feb.csv", LAYOUT.encoding)
    known = known_layout(table.columns, [LAYOUT])
    assert known == LAYOUT
    lines = bank_lines(table, stated_columns(table, {}, known.columns), "EUR")

    assert [(line.day, line.amount.minor, line.text) for line in lines] == [
        (datetime.date(2026, 2, 1), -123450, "Kupplung"),
        (datetime.date(2026, 2, 3), -990, "Öl"),
    ]


def test_a_layout_is_not_guessed_when_two_are_kept_for_the_same_columns() -> None:
    other = BankLayout("Other", LAYOUT.columns, "", LAYOUT.header)

    assert known_layout(LAYOUT.header, [LAYOUT, other]) is None
    assert known_layout(("A", "B"), [LAYOUT]) is None


def test_columns_that_cannot_be_guessed_may_be_stated() -> None:
    table = csv_table(ODD.encode(), "feb.csv")
    with pytest.raises(BadEntry, match="do not tell which is the day"):
        stated_columns(table, {"order": "dmy"})
    said = stated_columns(table, {"day": "Wann", "text": "Wofür", "amount": "Wieviel", "order": ""})

    assert (said.day, said.text, said.amount, said.order) == ("Wann", "Wofür", "Wieviel", "dmy")


def test_stating_columns_of_in_and_out_drops_the_one_amount() -> None:
    table = csv_table(b"Date,Text,Amount,Debit,Credit\n2026-02-01,Oil,1,9.90,\n", "feb.csv")
    columns = stated_columns(table, {"out": "Debit", "into": "Credit"})

    assert (columns.amount, columns.out, columns.into) == ("", "Debit", "Credit")
    assert bank_lines(table, columns, "USD")[0].amount.minor == -990


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": " "}, "1 to 60"),
        ({"encoding": "EBCDIC"}, "encoding"),
        ({"columns": BankColumns("a", "b", "c", order="ydm")}, "order"),
    ],
)
def test_a_layout_that_cannot_be_used_is_refused(changes: dict, words: str) -> None:
    with pytest.raises(BadEntry, match=words):
        BankLayout(**{**vars(LAYOUT), **changes})


def test_bytes_that_do_not_fit_the_encoding_are_refused() -> None:
    with pytest.raises(BadEntry, match="not written in UTF-8"):
        bank_table("Öl".encode("cp1252"), "feb.csv", "UTF-8")
