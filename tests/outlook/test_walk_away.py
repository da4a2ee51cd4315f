from dataclasses import replace

import pytest

from driveout.errors import CannotSay
from driveout.outlook import CostBook, FaultChances, Forecast, Mend, Piece, Rules, ceiling_of, wage_ceiling
from driveout.uncertain import Lognormal
from tests.outlook import a_case


def test_at_the_loss_price_a_loss_is_exactly_as_likely_as_accepted() -> None:
    case = replace(a_case(), rules=replace(a_case().rules, chosen=("loss",), loss_chance=0.1))
    made = Forecast(case)

    price = ceiling_of(case).price

    assert made.cash.share_below(price * made.price_factor) == pytest.approx(0.1, abs=1e-6)


def test_at_the_wage_price_the_hours_bring_the_wage_on_average() -> None:
    case = replace(a_case(), rules=replace(a_case().rules, chosen=("wage",), wage_per_hour=20.0))
    price = ceiling_of(case).price
    outlook = Forecast(replace(case, price=price)).outlook()

    assert outlook.per_hour == pytest.approx(20.0)


def test_the_wage_price_is_a_ratio_of_means() -> None:
    # 1000 in 5 h or in 45 h: at 40 an hour nothing is left, whatever the mean of the ratios says
    assert wage_ceiling(1000.0, 25.0, 40.0) == 0.0
    assert wage_ceiling(1000.0, 25.0, 30.0, 1.25) == pytest.approx(200.0)


def test_the_least_of_the_chosen_rules_counts_and_the_others_stand_beside_it() -> None:
    found = ceiling_of(
        replace(a_case(), rules=replace(a_case().rules, chosen=("wage", "loss", "tail", "certain")))
    )
    prices = {r.rule: r.price for r in found.rules}

    assert found.price == min(p for p in prices.values() if p is not None)
    assert prices[found.binding] == found.price
    assert found.money.minor <= found.price


def test_the_tail_price_is_under_the_loss_price_when_nothing_may_be_lost() -> None:
    rules = replace(a_case().rules, tail_loss=0.0, tail_share=0.1, loss_chance=0.1)
    prices = {r.rule: r.price or 0.0 for r in ceiling_of(replace(a_case(), rules=rules)).rules}

    assert prices["tail"] < prices["loss"]


def test_lognormal_cost_with_exponential_utility_is_refused_with_a_reason() -> None:
    book = CostBook((Mend("slip", "Clutch", (Piece("clutch kit", Lognormal(6.7, 0.8)),)),))
    case = replace(a_case(), chances=FaultChances.independent({"slip": 0.5}), book=book)

    with pytest.raises(CannotSay, match="infinite"):
        ceiling_of(replace(case, rules=Rules(chosen=("certain",))))

    by_loss = ceiling_of(replace(case, rules=Rules(chosen=("loss",))))
    assert next(r for r in by_loss.rules if r.rule == "certain").price is None


def test_a_car_that_no_price_makes_worth_it_is_walked_from_at_any_price() -> None:
    found = ceiling_of(a_case(wage_per_hour=500.0))

    assert found.is_worthless
    assert found.money.minor == 0
