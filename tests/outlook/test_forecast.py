import math
from dataclasses import replace

import numpy as np
import pytest

from driveout.errors import BadEntry
from driveout.outlook import (
    Case,
    CostBook,
    FaultChances,
    FaultDraws,
    Piece,
    Rules,
    Salvage,
    forecast,
    outlook_as_data,
)
from driveout.uncertain import Fixed, ThreePoint, fitted
from tests.outlook import a_case


def test_the_lines_add_up_to_the_profit_and_to_its_whole_variance() -> None:
    outlook = forecast(a_case())

    assert sum(line.profit_mean for line in outlook.lines) == pytest.approx(outlook.profit.mean)
    assert sum(line.hours_mean for line in outlook.lines) == pytest.approx(outlook.hours.mean)
    assert sum(line.variance_share for line in outlook.lines) == pytest.approx(1.0)


def test_a_way_out_has_a_line_of_its_own() -> None:
    outlook = forecast(
        replace(a_case(), salvage=(Salvage("scrap it", 2600.0), Salvage("part it out", 2700.0, 40.0)))
    )

    assert outlook.salvage is not None
    assert outlook.salvage.label == "scrap it"
    assert [line.kind for line in outlook.lines][-1] == "way out"
    assert sum(line.profit_mean for line in outlook.lines) == pytest.approx(outlook.profit.mean)
    assert outlook.let_go_chance > 0


def test_earnings_an_hour_are_the_ratio_of_the_means() -> None:
    outlook = forecast(a_case())

    assert outlook.per_hour == pytest.approx(outlook.profit.mean / outlook.hours.mean)


def test_without_a_price_the_profit_is_before_any_price() -> None:
    with_price, without = forecast(a_case()), forecast(a_case(price=None))

    assert without.price is None
    assert without.profit.mean - with_price.profit.mean == pytest.approx(900.0 * with_price.price_factor)


def test_tax_and_tied_up_money_make_the_price_dearer() -> None:
    assert forecast(a_case(purchase_tax_share=0.0, capital_share_per_year=0.0)).price_factor == 1.0
    outlook = forecast(a_case(purchase_tax_share=0.06, capital_share_per_year=0.08))
    assert outlook.price_factor == pytest.approx(1.06 + 0.08 * outlook.days.mean / 365)


def test_fewer_hours_a_week_mean_more_days_and_more_holding_cost() -> None:
    slow, fast = forecast(a_case(hours_per_week=6.0)), forecast(a_case(hours_per_week=12.0))

    assert slow.days.mean == pytest.approx(2 * fast.days.mean, rel=1e-6)
    assert slow.profit.mean < fast.profit.mean


def test_hours_quantiles_are_those_of_the_only_line() -> None:
    points = ThreePoint(43, 52, 60)
    case = Case(
        FaultChances.independent({}),
        CostBook(always=(Piece("x", hours=fitted(points)),)),
        (3e5, 4e5),
        Rules(),
    )
    outlook = forecast(case)

    assert (outlook.hours.low, outlook.hours.high) == pytest.approx((43, 60), abs=0.3)


def test_money_received_counts() -> None:
    plain, with_core = forecast(a_case()), forecast(replace(a_case(), received=80.0))

    assert with_core.profit.mean - plain.profit.mean == pytest.approx(80.0)
    assert any(line.kind == "received" for line in with_core.lines)


def test_drawn_fault_sets_say_so_and_agree_with_the_exact_answer() -> None:
    exact = a_case()
    rng = np.random.default_rng(3)
    states = (rng.random((60_000, 2)) < np.array([0.8, 0.4])).astype(np.int64)
    drawn = replace(exact, chances=FaultDraws(("slip", "leak"), (("slip",), ("leak",)), states))

    one, other = forecast(exact), forecast(drawn)

    assert one.how == "exact"
    assert other.how == "60,000 seeded draws"
    spread = math.sqrt(one.cash.cost.variance / 60_000)
    assert other.profit.mean == pytest.approx(one.profit.mean, abs=5 * spread)
    assert other.profit.low == pytest.approx(one.profit.low, abs=15)
    assert sum(line.variance_share for line in other.lines) == pytest.approx(1.0)
    assert forecast(drawn).profit.low == other.profit.low


def test_a_sold_price_leaves_no_spread_in_the_sale() -> None:
    case = Case(
        FaultChances.independent({}),
        CostBook(always=(Piece("all", Fixed(1000.0)),)),
        (2500.0, 2500.0),
        Rules(),
        700.0,
    )
    outlook = forecast(replace(case, rules=Rules(purchase_tax_share=0.0, capital_share_per_year=0.0)))

    assert outlook.profit.low == pytest.approx(800.0, abs=0.01)
    assert outlook.profit.high == pytest.approx(800.0, abs=0.01)
    assert math.isnan(outlook.per_hour)
    assert outlook_as_data(outlook)["per_hour_minor"] is None


def test_an_odd_grid_is_refused() -> None:
    with pytest.raises(BadEntry, match="power of two"):
        forecast(a_case(), points=1000)
