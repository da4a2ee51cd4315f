"""A bank's CSV is read by its own habits, matched, and never booked twice."""

from __future__ import annotations

import datetime

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.files import csv_table
from driveout.money import bookings as book
from driveout.money.bank_file import BankColumns, BankLine, bank_lines, guessed_columns, matched
from tests.money.story import CAR, Story, day, usd

AMERICAN = b"Posted,Description,Amount\n04/13/2026,Motor Factors,-188.60\n04/14/2026,Deposit,200.00\n"
GERMAN = "\ufeffBuchungstag;Verwendungszweck;Betrag\r\n13.04.2026;Kupplung M\u00fcller;-1.188,60\r\n".encode()
TWO_COLUMNS = b"Date,Narrative,Paid out,Paid in\n2026-04-13,Kit,188.60,\n2026-04-14,Buyer,,200.00\n"


def read(data: bytes, **changes: object) -> tuple[BankLine, ...]:
    table = csv_table(data, "bank.csv")
    columns = guessed_columns(table)
    return bank_lines(table, BankColumns(**{**vars(columns), **changes}), "USD")


@pytest.mark.parametrize(
    ("data", "minor", "when"),
    [
        (AMERICAN, [-18860, 20000], datetime.date(2026, 4, 13)),
        (GERMAN, [-118860], datetime.date(2026, 4, 13)),
        (TWO_COLUMNS, [-18860, 20000], datetime.date(2026, 4, 13)),
    ],
)
def test_banks_write_days_signs_and_decimals_in_their_own_way(data: bytes, minor: list, when: object) -> None:
    lines = read(data)

    assert [line.amount.minor for line in lines] == minor
    assert lines[0].day == when


def test_a_bank_that_writes_money_out_without_a_minus_is_turned() -> None:
    assert read(AMERICAN, spent_is_positive=True)[0].amount == usd("188.60")


def test_the_same_file_gives_the_same_keys_and_equal_rows_different_ones() -> None:
    twice = AMERICAN + b"04/13/2026,Motor  FACTORS,-188.60\n"
    keys = [line.key for line in read(twice)]

    assert len(set(keys)) == 3
    assert keys[:2] == [line.key for line in read(AMERICAN)]


def test_bad_rows_are_shown_together_with_their_lines() -> None:
    with pytest.raises(BadRows) as caught:
        read(AMERICAN + b"13/13/2026,x,5\n04/15/2026,y,five\n04/15/2026,z,0.005\n", order="mdy")

    assert [error.place for error in caught.value.entries] == ["bank.csv:4", "bank.csv:5", "bank.csv:6"]


def test_a_file_without_an_amount_or_with_a_wrong_column_is_refused() -> None:
    with pytest.raises(BadEntry, match="do not tell which"):
        read(b"a,b,c\n1,2,3\n")
    with pytest.raises(BadEntry, match="no column 'sum'"):
        read(AMERICAN, amount="sum")
    with pytest.raises(BadEntry, match="no order of a day"):
        read(AMERICAN, order="ydm")


def test_a_movement_is_matched_with_the_entry_of_nearly_the_same_day_once() -> None:
    story = Story()
    kit = story.book(book.receipt(CAR, "parts", usd("188.60"), "Kit", day(10)))
    lines = read(AMERICAN + b"04/15/2026,Motor Factors,-188.60\n04/30/2026,Motor Factors,-188.60\n")
    found = matched(lines, story.entries)

    # The entry stands on 11 April: the movement of the 13th is nearest, the others stay open.
    assert [s.booked for s in found] == [kit, None, None, None]
