"""Papers: disclosure, brands, what to look up, cars counted."""

from __future__ import annotations

from datetime import date

import pytest

from driveout.cars.papers import (
    SellerEvent,
    SellerRule,
    brand,
    brands,
    disclosure_duty,
    federal_rule,
    paper_checks,
    seller_count,
    shipped_rules,
)
from driveout.cars.vin import check_digit, vin_suggestions
from driveout.errors import BadEntry
from driveout.sources import cite

TODAY = date(2026, 6, 1)


def sold(day: date, car: str, kind: str = "sold") -> SellerEvent:
    return SellerEvent(day, kind, car)


def test_a_trailer_needs_no_odometer() -> None:
    assert not disclosure_duty(2020, 2026, self_propelled=False).owed
    with pytest.raises(BadEntry, match="cannot be sold"):
        disclosure_duty(2020, 2015)


def test_a_brand_leaves_a_range_of_value_below_clean() -> None:
    assert brand("clean").least == 1.0
    for mark in brands():
        assert 0 <= mark.least <= mark.most <= 1
        assert mark.note
    # a consumer title guide: rebuilt about 20 to 30 % below clean, buyback 10 to 25 %
    assert (brand("rebuilt").least, brand("rebuilt").most) == (0.70, 0.80)
    assert (brand("buyback").least, brand("buyback").most) == (0.75, 0.90)
    with pytest.raises(BadEntry, match="not a title brand"):
        brand("shiny")


def test_what_to_look_up_begins_with_the_title_itself() -> None:
    assert paper_checks()[0].check == "q_title_in_hand"
    assert {check.key for check in paper_checks()} >= {"lien", "id_match", "vin_match", "brand", "recall"}


def test_the_sixth_car_in_a_rolling_year_crosses_the_federal_line() -> None:
    events = [sold(date(2026, 1, n), str(n)) for n in range(1, 6)]

    assert seller_count(events, federal_rule(), TODAY).left == 0
    assert "next one crosses it" in seller_count(events, federal_rule(), TODAY).words
    assert (
        "It is crossed" in seller_count([*events, sold(TODAY, "6", "offered")], federal_rule(), TODAY).words
    )
    assert "One more may follow" in seller_count(events[:4], federal_rule(), TODAY).words


def test_one_car_offered_and_sold_counts_once_and_an_old_one_not_at_all() -> None:
    events = [
        sold(date(2026, 1, 1), "a", "offered"),
        sold(date(2026, 2, 1), "a"),
        sold(date(2025, 6, 1), "b"),
        sold(date(2025, 6, 2), "c"),
    ]

    # twelve months ending on 1 June 2026 begin on 2 June 2025
    assert seller_count(events, federal_rule(), TODAY).counted == 2


def test_a_bought_car_counts_only_where_the_rule_says_so() -> None:
    events = [sold(date(2026, 1, 1), "a", "bought")]

    assert seller_count(events, federal_rule(), TODAY).counted == 0
    assert seller_count(events, SellerRule("x", ("bought",), "rolling", 12, 3), TODAY).counted == 1


def test_a_calendar_window_forgets_last_december() -> None:
    rule = SellerRule("x", ("sold",), "calendar", 12, 3)

    assert (
        seller_count([sold(date(2025, 12, 31), "a"), sold(date(2026, 1, 1), "b")], rule, TODAY).counted == 1
    )


def test_a_window_from_the_first_sale_starts_anew_after_it_ends() -> None:
    rule = SellerRule("x", ("sold",), "from first sale", 12, 6)
    events = [
        sold(date(2024, 3, 1), "a"),
        sold(date(2025, 1, 1), "b"),
        sold(date(2025, 5, 1), "c"),
        sold(date(2026, 4, 1), "d"),
    ]

    # windows from 1 March 2024, then from 1 May 2025 (the first sale after the first one ended)
    count = seller_count(events, rule, date(2026, 4, 15))
    assert count.since == date(2025, 5, 1)
    assert count.counted == 2
    # after 30 April 2026 that window is over too
    assert seller_count(events, rule, date(2026, 6, 1)).counted == 0


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"counts": ("gifted",)}, "not counted"),
        ({"counts": ()}, "Tick what counts"),
        ({"window": "weekly"}, "no window"),
        ({"months": 0}, "Months run"),
        ({"stop_at": 0}, "Months run"),
    ],
)
def test_a_rule_that_cannot_be_is_refused(changes: dict, match: str) -> None:
    given = {"where": "x", "counts": ("sold",), "window": "rolling", "months": 12, "stop_at": 5} | changes
    with pytest.raises(BadEntry, match=match):
        SellerRule(**given)


def test_every_shipped_rule_names_its_source() -> None:
    for _, rule, note in shipped_rules():
        assert cite(rule.origin).title
        assert note


def test_a_mistyped_number_gets_suggestions_that_hold() -> None:
    # Table V's number with a B for the 8 in position 14.
    typed = "1G4AH59H45G11B341"

    suggestions = vin_suggestions(typed)
    assert "1G4AH59H45G118341" in suggestions
    assert all(check_digit(one) == one[8] for one in suggestions)


def test_letters_no_number_has_are_replaced_first() -> None:
    assert vin_suggestions("1G4AH59H45GII834I") == ("1G4AH59H45G118341",)


def test_a_swap_of_neighbours_is_found() -> None:
    assert "1G4AH59H45G118341" in vin_suggestions("1G4HA59H45G118341", at_most=20)


def test_a_number_that_holds_or_has_another_length_gets_none() -> None:
    assert vin_suggestions("1G4AH59H45G118341") == ()
    assert vin_suggestions("1G4AH59H45G11834") == ()
    assert vin_suggestions("1G4AH59H45G11834*") == ()
