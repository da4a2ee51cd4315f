"""Return measures say when they mean nothing."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry, CannotSay
from driveout.money import CashMove, dietz_return, earnings, modified_rate, rates_of_return
from driveout.money.measures import average_capital
from tests.money.story import day, usd


def test_a_car_paid_for_before_any_money_went_out_has_no_return_on_capital() -> None:
    moves = [CashMove(day(0), usd("2000")), CashMove(day(10), usd("-1500"))]
    result = earnings(usd("500"), moves, 600)

    assert result.on_average_capital is None
    assert result.average_capital is None
    assert "No money was tied up" in result.note
    assert result.per_own_hour == usd("50")
    assert result.per_bay_day == usd("50")


def test_a_car_bought_and_sold_on_one_day_still_has_profit() -> None:
    moves = [CashMove(day(0), usd("-1500")), CashMove(day(0), usd("2000"))]
    result = earnings(usd("500"), moves, 0)

    assert (result.days, result.per_own_hour, result.per_bay_day, result.yearly_rates) == (0, None, None, ())
    with pytest.raises(CannotSay, match="one day"):
        average_capital(moves)


def test_a_long_project_shows_its_yearly_rate_and_a_short_one_does_not() -> None:
    for days, count in ((89, 0), (90, 1)):
        moves = [CashMove(day(0), usd("-1000")), CashMove(day(days), usd("1100"))]

        assert len(earnings(usd("100"), moves, 60).yearly_rates) == count


def test_two_fitting_rates_are_both_named_as_none_being_the_return() -> None:
    moves = [
        CashMove(day(0), usd("-1600")),
        CashMove(day(365), usd("10000")),
        CashMove(day(730), usd("-10000")),
    ]
    result = earnings(usd("-1600"), moves, 60)

    assert len(result.yearly_rates) == 2
    assert "2 yearly rates fit" in result.note


def test_flows_that_never_pay_back_have_no_rate() -> None:
    assert rates_of_return([0, 1], [-5, -5]) == ()
    assert rates_of_return([], []) == ()
    assert rates_of_return([0, 1], [0, 0]) == ()


def test_a_rate_of_exactly_zero_is_found_once() -> None:
    assert rates_of_return([0, 1], [-5, 5]) == pytest.approx((0.0,), abs=1e-12)


def test_lists_of_different_length_are_refused() -> None:
    with pytest.raises(BadEntry, match="1 times but 2 amounts"):
        rates_of_return([0], [1, 2])


def test_rates_that_need_two_directions_of_money_say_so() -> None:
    with pytest.raises(CannotSay, match="one way only"):
        modified_rate([-1, -2], 0.1, 0.1)
    with pytest.raises(CannotSay, match="No money was tied up"):
        dietz_return(0.0, 10.0, [(0.0, -5.0)], 10.0)
