"""Money is exact, refuses to mix currencies and splits without losing a cent."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from driveout.errors import BadEntry
from driveout.units import Money, minor_digits, money_from_text


@pytest.mark.parametrize(
    ("text", "minor", "currency"),
    [
        ("1450", 145000, "USD"),
        ("1,450", 145000, "USD"),
        ("1.450", 145000, "USD"),
        ("1 450,50", 145050, "USD"),
        ("$1,450.50", 145050, "USD"),
        ("1.450,50 €", 145050, "EUR"),
        ("GBP 99", 9900, "GBP"),
        ("1'450.00", 145000, "USD"),
        ("¥150000", 150000, "JPY"),
        ("１４５０", 145000, "USD"),
    ],
)
def test_amounts_are_read_as_people_write_them(text: str, minor: int, currency: str) -> None:
    assert money_from_text(text, "USD") == Money(minor, currency)


@pytest.mark.parametrize(
    "text", ["", "abc", "1,2,3", "12.345.6", "1e9", "--5", "NaN", "1450 or 1500", "9" * 30]
)
def test_what_is_not_one_amount_is_refused(text: str) -> None:
    with pytest.raises(BadEntry, match=r"number|large|decimals"):
        money_from_text(text, "USD")


def test_more_decimals_than_the_currency_has_are_refused() -> None:
    with pytest.raises(BadEntry, match="at most 0"):
        money_from_text("1450.5 JPY", "USD")


def test_two_currencies_are_never_added() -> None:
    with pytest.raises(BadEntry, match="different currencies"):
        Money(1, "USD") + Money(1, "EUR")


def test_a_float_never_becomes_money() -> None:
    with pytest.raises(TypeError, match="float"):
        Money.of(1.1, "USD")  # type: ignore[arg-type]


@pytest.mark.parametrize(("currency", "digits"), [("USD", 2), ("JPY", 0), ("KWD", 3), ("EUR", 2)])
def test_minor_digits_follow_iso_4217(currency: str, digits: int) -> None:
    assert minor_digits(currency) == digits


def test_a_word_is_not_a_currency() -> None:
    with pytest.raises(BadEntry, match="three capital letters"):
        minor_digits("dollar")


@given(
    st.integers(min_value=-(10**9), max_value=10**9),
    st.lists(st.integers(min_value=0, max_value=1000), min_size=1, max_size=8).filter(any),
)
def test_a_split_adds_up_to_the_whole(minor: int, weights: list[int]) -> None:
    parts = Money(minor, "USD").split(weights)

    assert sum(part.minor for part in parts) == minor
    exact = [Decimal(minor) * weight / sum(weights) for weight in weights]
    assert all(abs(part.minor - share) < 1 for part, share in zip(parts, exact, strict=True))


def test_a_split_by_nothing_is_refused() -> None:
    with pytest.raises(BadEntry, match="weights"):
        Money(100, "USD").split([0, 0])
