"""The lowest point of the cash to come, by hand."""

from __future__ import annotations

import datetime

import pytest

from driveout.errors import BadEntry
from driveout.money.cash_ahead import Planned, cash_ahead
from driveout.units import Money
from tests.money.story import day, usd


def test_the_lowest_point_lies_between_the_outlays_and_the_sale() -> None:
    # By hand: 900 - 150 = 750, - 800 = -50 on day 5, + 3000 = 2950.
    moves = [
        Planned(day(9), usd("3000"), "sale", "sale", 1),
        Planned(day(5), usd("-800"), "bodywork"),
        Planned(day(2), usd("-150"), "clutch kit"),
    ]
    ahead = cash_ahead(usd("900"), moves, day(0))

    assert [row.after for row in ahead.rows] == [usd("750"), usd("-50"), usd("2950")]
    assert (ahead.lowest, ahead.lowest_on) == (usd("-50"), day(5))


def test_on_one_day_money_goes_out_before_it_comes_in() -> None:
    moves = [Planned(day(3), usd("500"), "in"), Planned(day(3), usd("-400"), "out")]

    assert cash_ahead(usd("100"), moves, day(0)).lowest == usd("-300")


def test_what_is_late_counts_today() -> None:
    moves = [Planned(day(-4), usd("-50"), "part that should be here")]
    ahead = cash_ahead(usd("100"), moves, day(0))

    assert (ahead.lowest, ahead.lowest_on) == (usd("50"), day(0))


def test_with_nothing_going_out_today_is_the_lowest() -> None:
    ahead = cash_ahead(usd("100"), [Planned(day(3), usd("50"), "in")], day(0))

    assert (ahead.lowest, ahead.lowest_on) == (usd("100"), None)


def test_another_currency_is_refused() -> None:
    with pytest.raises(BadEntry, match="Exchange it first"):
        cash_ahead(usd("100"), [Planned(day(3), Money(5000, "EUR"), "in")], day(0))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"amount": usd("0")}, "moves nothing"),
        ({"kind": "sale", "car_id": 1, "amount": usd("-1")}, "moves nothing"),
        ({"kind": "sale"}, "not a kind"),
        ({"kind": "wish"}, "not a kind"),
        ({"what": " "}, "1 to 200"),
    ],
)
def test_expected_money_that_makes_no_sense_is_refused(changes: dict, words: str) -> None:
    given = {"day": datetime.date(2026, 5, 4), "amount": usd("1"), "what": "x"}
    with pytest.raises(BadEntry, match=words):
        Planned(**{**given, **changes})
