"""Adverts pasted as text become comparables, or say what is missing."""

from __future__ import annotations

from datetime import date

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.market import Comparable, comparables_from_paste
from driveout.units import Money, km_from_miles

DAY = date(2026, 5, 4)


def read(text: str, currency: str = "USD") -> tuple[Comparable, ...]:
    return comparables_from_paste(text, currency=currency, today=DAY)


def test_blocks_between_blank_lines_are_cars() -> None:
    found = read("2013 Linnet 1.4\n$4,250 - 76k miles\n\n2012 Linnet 1.4\n98.000 km\nasking 3900\n")

    assert [c.price for c in found] == [Money(425_000, "USD"), Money(390_000, "USD")]
    assert [c.mileage_km for c in found] == [pytest.approx(km_from_miles(76_000)), 98_000]
    assert [c.made_year for c in found] == [2013, 2012]
    assert found[1].origin == "pasted text:4"


def test_without_blank_lines_each_line_with_a_price_is_a_car() -> None:
    found = read("Linnet 2013 $4,250 120,000 km\nLinnet 2014 USD 4.900 98 500 km salvage")

    assert [c.price.minor for c in found] == [425_000, 490_000]
    assert [c.title_status for c in found] == ["clean", "salvage"]


@pytest.mark.parametrize(
    ("text", "currency", "minor", "km"),
    [
        ("2015 Linnet 5.900 € 98.000 km", "EUR", 590_000, 98_000),
        ("2015 Linnet 5 900 € 98 000 km", "EUR", 590_000, 98_000),
        ("2015 Linnet, £5,900.50, 98,000 miles", "GBP", 590_050, 98_000 * 1.609344),
        ("Linnet 2015, 5900 EUR", "EUR", 590_000, None),
        ("2015 Linnet 3.5k$ 150k km", "USD", 350_000, 150_000),
    ],
)
def test_prices_and_distances_are_told_apart_however_they_are_grouped(
    text: str, currency: str, minor: int, km: float | None
) -> None:
    (found,) = read(text, currency)

    assert found.price == Money(minor, currency)
    assert found.mileage_km == (None if km is None else pytest.approx(km))
    assert found.made_year == 2015


def test_a_price_paid_is_told_from_one_asked() -> None:
    assert read("2013 Linnet sold for 3,700, 141,000 km")[0].kind == "sold"
    assert read("2013 Linnet, not sold yet, $3,700, 141,000 km")[0].kind == "asking"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Linnet $400", "No year"),
        ("2013 Linnet 120,000 km", "No price"),
        ("2013 Linnet $400 or $500", "2 prices"),
        ("2013 Linnet $400, new clutch 2024", "2 years: 2013, 2024"),
        ("2013 Linnet $400 90,000 km, engine 40,000 km", "2 distances"),
        ("2013 Linnet $0 90,000 km", "not above 0"),
    ],
)
def test_a_block_that_leaves_a_doubt_is_refused_with_its_line(text: str, said: str) -> None:
    with pytest.raises(BadRows, match="nothing was taken") as caught:
        read("2014 Linnet\n$5,000 90,000 km\n\n" + text)

    assert said in str(caught.value)
    assert caught.value.entries[0].place.startswith("pasted text:4")


def test_cells_with_a_header_are_still_read_as_a_table() -> None:
    assert read("price\tkm\tyear\n4000\t90000\t2013")[0].price == Money(400_000, "USD")
    with pytest.raises(BadEntry, match="no price column"):
        read("km,year\n90000,2013\n")
