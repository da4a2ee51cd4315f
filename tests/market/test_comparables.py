from __future__ import annotations

import json
import time
import tracemalloc
from datetime import date

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.files import yaml_document
from driveout.market import Comparable, comparables_from_csv, comparables_from_paste, duplicates
from driveout.market.doubles import without_duplicates
from driveout.market.own_file import SCHEMA, comparables_from_document
from driveout.units import Money

TODAY = date(2026, 5, 4)


def read(
    text: str, unit: str = "km", currency: str = "USD", encoding: str = "utf-8"
) -> tuple[Comparable, ...]:
    return comparables_from_csv(
        text.encode(encoding), "comps.csv", currency=currency, today=TODAY, mileage_unit=unit
    )


def test_a_spreadsheet_export_with_mark_semicolons_and_decimal_commas_is_read() -> None:
    found = read(
        "\ufeffPreis;Kilometerstand;Baujahr\r\n4.250,50;120.500;2013\r\n3.900,00;98.000;2012\r\n",
        currency="EUR",
    )

    assert [c.price for c in found] == [Money(425_050, "EUR"), Money(390_000, "EUR")]
    assert [c.mileage_km for c in found] == [120_500, 98_000]


def test_miles_kilometres_and_thousands_are_told_apart() -> None:
    found = read(
        'price,mileage,year\n"$4,250",76k mi,2013\n5.9k,120000 km,2014\n4100,80000,2012\n', unit="mi"
    )

    assert [round(c.mileage_km or 0) for c in found] == [122_310, 120_000, 128_748]
    assert [c.price.minor for c in found] == [425_000, 590_000, 410_000]


def test_a_column_in_square_brackets_names_its_unit() -> None:
    found = read("Price,Mileage [mi],Year\n4000,100000,2013\n")

    assert found[0].mileage_km == pytest.approx(160_934.4)


def test_utf_16_and_the_line_that_names_the_separator_are_no_hindrance() -> None:
    assert len(read("price\tkm\tyear\n4000\t90000\t2013\n", encoding="utf-16")) == 1
    assert len(read("sep=;\nprice;km;year\n4000;90000;2013\n")) == 1


def test_bad_rows_are_shown_together_with_line_and_reason() -> None:
    with pytest.raises(BadRows, match="4 of 5 rows cannot be used") as caught:
        read(
            "price,km,year\n4000,90000,2013\n-1,90000,2013\n4000,9000000,2013\n4000,90000,2099\nfree,90000,2013\n"
        )

    places = [entry.place for entry in caught.value.entries]
    assert [place.split()[0] for place in places] == [f"comps.csv:{n}" for n in (3, 4, 5, 6)]
    assert "not above 0" in str(caught.value)
    assert "9,000,000 km" in str(caught.value)


def test_a_table_without_a_price_column_names_the_columns_it_has() -> None:
    with pytest.raises(BadEntry, match=r"no price column.*km, year"):
        read("km,year\n90000,2013\n")


def test_a_table_without_year_or_age_is_refused() -> None:
    with pytest.raises(BadEntry, match="neither a year nor an age"):
        read("price,km\n4000,90000\n")


def test_a_million_rows_are_refused_in_a_sentence_before_they_are_taken_apart() -> None:
    data = b"price,km,year\n" + b"4000,90000,2013\n" * 1_000_000
    tracemalloc.start()
    began = time.perf_counter()
    with pytest.raises(BadEntry, match="1,000,001 rows; at most 50,000 are read"):
        comparables_from_csv(data, "comps.csv", currency="USD", today=TODAY)
    seconds, (_, peak) = time.perf_counter() - began, tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert seconds < 2
    assert peak < 5_000_000


def test_a_row_too_many_is_refused_too() -> None:
    with pytest.raises(BadEntry, match="at most 50,000 are read"):
        read("price,km,year\n" + "4000,90000,2013\n" * 50_001)


def test_a_column_title_that_holds_headlines_is_taken_as_the_name() -> None:
    found = read("title,price,km,year\nLovely Linnet,4000,90000,2013\n")

    assert found[0].name == "Lovely Linnet"
    assert found[0].title_status == "clean"


def test_title_status_and_sold_prices_are_understood() -> None:
    found = read("title status,price,km,year,kind\nRebuilt,4000,90000,2013,sold\n")

    assert (found[0].title_status, found[0].kind) == ("rebuilt", "sold")


def test_an_ambiguous_day_is_refused() -> None:
    with pytest.raises(BadEntry, match="two different days"):
        read("price,km,year,seen\n4000,90000,2013,05/06/2026\n")


def test_pasted_cells_are_read_by_tabs() -> None:
    found = comparables_from_paste("price\tmiles\tyear\n4000\t60000\t2013", currency="USD", today=TODAY)

    assert found[0].mileage_km == pytest.approx(96_560.64)


def test_an_empty_paste_says_what_to_do() -> None:
    with pytest.raises(BadEntry, match="header row"):
        comparables_from_paste("  ", currency="USD", today=TODAY)


def test_the_same_car_seen_twice_is_found() -> None:
    once = Comparable(Money(400_000, "USD"), mileage_km=98_123, made_year=2013)
    again = Comparable(Money(380_000, "USD"), mileage_km=98_123, made_year=2013)
    other = Comparable(Money(400_000, "USD"), mileage_km=98_000, made_year=2013)
    kept, said = without_duplicates([once, other, again])

    assert [(d.first, d.second) for d in duplicates([once, other, again])] == [(0, 2)]
    assert kept == (other, again)
    assert "98,123 km" in said[0]


def test_days_out_of_order_are_refused() -> None:
    with pytest.raises(BadEntry, match="before the day seen"):
        Comparable(Money(1, "USD"), made_year=2013, seen=date(2026, 5, 2), gone=date(2026, 5, 1))


def test_an_own_file_names_line_and_key_of_every_wrong_entry() -> None:
    text = (
        f"schema: {SCHEMA}\ncurrency: USD\ncomparables:\n- price: 4000\n  mileage_km: 90000\n  made_year: 2013\n"
        "- price: 0\n  made_year: 2013\n- price: 4000\n  milage: 3\n"
    )
    with pytest.raises(BadRows, match="2 entries") as caught:
        comparables_from_document(yaml_document(text, "own.yaml", SCHEMA), today=TODAY)

    assert [e.place for e in caught.value.entries] == [
        "own.yaml:7 comparables.1.price",
        "own.yaml:10 comparables.2.milage",
    ]


def test_json_is_an_own_file_too() -> None:
    data = {
        "schema": SCHEMA,
        "comparables": [
            {
                "price": 4000.5,
                "mileage_mi": 60000,
                "age_years": 12.5,
                "options": ["Roof rack"],
                "specs": {"power_kw": 66},
            }
        ],
    }
    found = comparables_from_document(yaml_document(json.dumps(data), "own.json", SCHEMA), today=TODAY)

    assert found[0].price == Money(400_050, "USD")
    assert found[0].options == ("roof rack",)
    assert found[0].specs == {"power_kw": 66.0}
