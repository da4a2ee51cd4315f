"""The advert file: what is wrong is named with file, line, key, value and what to do."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.hunt.advert import Advert, MoneyRange, Seller, Symptom, held_to_today, unusual
from driveout.hunt.advert_file import advert_from_file, advert_text
from driveout.units import Money

TODAY = date(2026, 11, 25)
FINDINGS = ("say_clutch", "say_coolant", "say_rust")
GOOD = """\
schema: driveout-advert/1
name: Linnet 1.4, Brackenford
asking: 1650
made_year: 2013
mileage: 92000 mi
title: clean
runs: sick
gearbox: manual
clean_value: {low: 3900, likely: 4400, high: 4900.50}
symptoms:
  - say_clutch
  - {id: say_coolant, hedged: true, words: might lose some coolant}
denied: [say_rust]
seller: {name: Odalys Quist, is_owner: true, has_title_in_hand: true}
extras: [new battery]
place: Brackenford
distance: 35 km
seen_on: 2026-11-20
text: |
  Linnet 1.4, clutch slips: "as is".
"""


def read(content: str) -> Advert:
    return advert_from_file(content, "linnet.yaml", today=TODAY, known_findings=FINDINGS)


def test_every_fact_of_the_file_is_read() -> None:
    advert = read(GOOD)

    assert advert.asking == Money(165000, "USD")
    assert advert.mileage_km == 148060  # 92,000 international miles of 1.609344 km
    assert advert.clean_value == MoneyRange(Money(390000, "USD"), Money(440000, "USD"), Money(490050, "USD"))
    assert advert.symptoms == (
        Symptom("say_clutch"),
        Symptom("say_coolant", hedged=True, words="might lose some coolant"),
        Symptom("say_rust", "no"),
    )
    assert advert.evidence == {"say_clutch": "yes", "say_coolant": "supposed", "say_rust": "no"}
    assert advert.hedged == {"say_coolant"}
    assert advert.seller == Seller("Odalys Quist", True, True)
    assert advert.build == {"mileage_km": 148060, "gearbox": "manual"}


def test_a_written_advert_reads_back_to_the_same_advert() -> None:
    advert = read(GOOD)

    assert read(advert_text(advert)) == advert


def test_the_documented_example_is_read() -> None:
    page = (Path(__file__).parents[2] / "docs" / "formats" / "advert.md").read_text(encoding="utf-8")
    example = page.split("```yaml\n", 1)[1].split("```", 1)[0]

    advert = advert_from_file(example, "advert.md", today=TODAY)

    assert advert.asking == Money(165000, "USD")
    assert advert.prior_class == "sick"


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("asking: -50", r"linnet.yaml:2 asking: The asking price -50.00 USD is outside 0 to"),
        ("asking: 99000000", r"outside 0 to 10,000,000.00 USD"),
        ("asking: 1,650", r'asking is "1,650"; expected a plain number'),
        ("asking: 16.505", r"at most 2 decimals"),
        ("mileage: 9000000 km", r"9,000,000 km is outside 0 to 2,500,000 km"),
        (
            "mileage: 92000",
            r"mileage is 92000 with no unit; the unit must be km or mi. Write 92000 km or 92000 mi",
        ),
        ("mileage: 92000 leagues", r'the unit "leagues"; the unit must be km or mi'),
        ("mileage: lots", r'mileage is "lots"; expected a number with its unit'),
        ("made_year: 2031", r"The year 2031 is in the future; the latest possible is 2027"),
        ("made_year: 1799", r"before the first car \(1886\)"),
        ("made_year: soon", r"expected a whole number such as 2013"),
        ("title: cleen", r'title is "cleen"; expected one of clean, rebuilt, salvage, none, unknown'),
        ("runs: maybe", r"expected one of runner, sick, dead"),
        ("gearbox: stick", r"expected one of manual, auto, cvt, dct"),
        ("symptoms: [say_cluch]", r'There is no symptom "say_cluch". Did you mean say_clutch'),
        ("symptoms: say_clutch", r"symptoms must be a list"),
        ("symptoms: [{name: x}]", r"A symptom is a finding's name"),
        ("madeyear: 2013", r'There is no key "madeyear". Did you mean made_year'),
        ("clean_value: {low: 5, likely: 4, high: 6}", r"not in order from low over likely to high"),
        ("clean_value: [1, 2]", r"expected three amounts"),
        ("currency: dollars", r"three capital letters"),
        ("distance: 50000 km", r"The way to the car, 50000 km, is outside"),
        ("seen_on: 2027-01-01", r"after today"),
        ("seen_on: yesterday", r"expected a day such as"),
        ("seller: {owner: true}", r"expected some of name, is_owner"),
        ("seller: {is_owner: perhaps}", r"expected true or false"),
        ("is_turbo: 3", r"expected true or false"),
        ("extras: new battery", r"Expected a list of short texts"),
        ("name: {a: 1}", r"Expected a text here"),
    ],
)
def test_a_wrong_value_is_refused_with_place_value_and_remedy(line: str, message: str) -> None:
    with pytest.raises(BadEntry, match=message) as caught:
        read(f"schema: driveout-advert/1\n{line}\n")

    assert "linnet.yaml:2" in caught.value.place
    assert caught.value.message.rstrip(".").count(".") >= 0
    assert caught.value.value is not None or caught.value.allowed


def test_all_that_is_wrong_is_shown_together() -> None:
    with pytest.raises(BadRows, match="3 values cannot be used") as caught:
        read("schema: driveout-advert/1\nasking: -5\nmileage: 9000000 km\nmade_year: 2031\n")

    assert [e.place for e in caught.value.entries] == [
        "linnet.yaml:2 asking",
        "linnet.yaml:3 mileage",
        "linnet.yaml:4 made_year",
    ]


@pytest.mark.parametrize("torn", ["schema: driveout-advert/1\nasking: [1,\n", "asking: 5", "- a\n- b", ""])
def test_a_torn_or_foreign_file_is_refused(torn: str) -> None:
    with pytest.raises(BadEntry, match=r"torn|schema|keys"):
        read(torn)


def test_a_huge_file_is_refused() -> None:
    with pytest.raises(BadEntry, match="limit"):
        read("schema: driveout-advert/1\ntext: " + "x" * 6_000_000)


def test_next_years_model_is_possible_but_asked_about() -> None:
    advert = held_to_today(Advert(made_year=2027), TODAY)

    assert [q.field for q in unusual(advert, TODAY)] == ["made_year"]


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"mileage_km": 600_000}, "mileage_km"),
        ({"made_year": 1975}, "made_year"),
        ({"made_year": 2025, "mileage_km": 250_000}, "mileage_km"),
        ({"asking": Money(1200, "USD")}, "asking"),
        ({"distance_km": 900.0}, "distance_km"),
        (
            {
                "asking": Money(900_000, "USD"),
                "clean_value": MoneyRange(*(Money(m, "USD") for m in (390_000, 400_000, 440_000))),
            },
            "asking",
        ),
    ],
)
def test_an_unusual_value_is_asked_about_and_not_refused(facts: dict[str, object], field: str) -> None:
    advert = Advert(**facts)  # type: ignore[arg-type]

    assert [q.field for q in unusual(advert, TODAY)] == [field]


def test_an_ordinary_advert_raises_no_question() -> None:
    assert unusual(read(GOOD), TODAY) == ()


def test_a_price_in_another_currency_is_refused() -> None:
    with pytest.raises(BadEntry, match="price is in EUR but the advert is in USD"):
        Advert(asking=Money(165000, "EUR"))


def test_a_silent_advert_counts_as_a_runner() -> None:
    assert Advert().prior_class == "runner"
