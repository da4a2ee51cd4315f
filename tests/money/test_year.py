"""A year adds up to the profits of the cars sold in it and the garage's own expenses."""

from __future__ import annotations

import datetime

from driveout.money import balances, cost_of_car
from driveout.money.year import year_summary
from tests.money.story import CAR, car_story, usd


def test_the_year_of_the_story_is_its_profit_less_the_tools_written_off() -> None:
    # By hand: 1556.16 - 12.90; tools 129 - 12.90; shelf 15 left.
    summary = year_summary(balances(car_story()), 2026, "USD")

    assert summary.result == usd("1543.26")
    assert sum(row.amount.minor for row in summary.rows) == summary.result.minor
    assert summary.tools_change == usd("116.10")
    assert summary.stock_change == usd("15")
    assert summary.own_minutes == 295


def test_income_stands_before_expenses_and_cars_before_the_garage() -> None:
    rows = year_summary(balances(car_story()), 2026, "USD").rows

    assert [(row.car, row.category) for row in rows] == [
        (CAR, "Cars sold"),
        (CAR, "Parts sold"),
        (CAR, "Cost of cars sold"),
        (CAR, "Fees of sales"),
        ("", "Tools written off"),
    ]


def test_costs_of_a_car_not_sold_are_stock_and_no_expense() -> None:
    early = balances(car_story(), through=datetime.date(2026, 4, 11))
    summary = year_summary(early, 2026, "USD")

    assert summary.rows == ()
    assert summary.stock_change == cost_of_car(car_story()[:15], CAR, "USD").work_in_progress + usd("15")
