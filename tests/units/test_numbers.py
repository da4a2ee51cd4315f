"""Numbers as people write them."""

from __future__ import annotations

from decimal import Decimal

import pytest

from driveout.units import read_number


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.450", "1450"),
        ("1,450", "1450"),
        ("12,345,678", "12345678"),
        ("0.725", "0.725"),
        ("0,725", "0.725"),
        (".5", "0.5"),
        ("1.5", "1.5"),
        ("1,5", "1.5"),
        ("1.4567", "1.4567"),
        ("1.234,5", "1234.5"),
        ("1,234.5", "1234.5"),
        ("\u22123,5", "-3.5"),
        ("1\u202f450", "1450"),
    ],
)
def test_marks_are_told_apart(text: str, value: str) -> None:
    assert read_number(text) == Decimal(value)


def test_a_known_decimal_comma_settles_what_three_digits_mean() -> None:
    assert read_number("1,450", decimal_comma=True) == Decimal("1.450")
    assert read_number("1.450", decimal_comma=False) == Decimal("1.450")
