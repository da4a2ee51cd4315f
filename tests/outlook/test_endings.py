"""Going on against every way of giving up: by what is still to come, never by what is spent."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from driveout.outlook import (
    Booked,
    Case,
    CostBook,
    FaultChances,
    FaultFacts,
    Known,
    Rules,
    WayOut,
    ahead_of,
    always_lines,
    cost_book,
    forecast,
    usual_ways_out,
    ways_to_end,
    with_actuals,
)
from driveout.outlook.book import Charge, Piece
from driveout.repairs import catalogue
from driveout.uncertain import Fixed, ThreePoint, fitted

CHANCES = {"drv_clutch_worn": 0.7, "gbx_internal": 0.2, "cool_pump": 0.3}
RULES = Rules(scrap=30_000.0, part_out=70_000.0, part_out_hours=30.0, chosen=("wage",))


def a_car(rules: Rules = RULES, value: tuple[float, float] = (430_000.0, 560_000.0)) -> Case:
    faults = {name: FaultFacts(name) for name in CHANCES}
    book, _ = cost_book(
        catalogue(), faults, Charge(1.0, 1500.0, 0.0), 490_000.0, None, always_lines(rules, 20.0)
    )
    return Case(FaultChances.independent(CHANCES), book, value, rules, 90_000.0)


def certain(money: float, cost: float, hours: float, rules: Rules) -> Case:
    """A car without any doubt: mended it brings ``money``, mending takes ``cost`` and ``hours``."""
    line = Piece("All of it", Fixed(cost), Fixed(hours))
    return Case(FaultChances.independent({}), CostBook(always=(line,)), (money, money), rules, 50_000.0)


def test_a_sure_case_is_plain_arithmetic() -> None:
    # own-reasoning: 5000.00 - 1200.00 to come in 40 h at 20.00/h leaves 3000.00; as it stands 3500.00 in 10 h is 3300.00
    rules = Rules(wage_per_hour=2000.0, holding_per_day=0.0, chosen=("wage",))
    stands = WayOut(
        "as it stands",
        "selling it as it stands",
        ThreePoint(350_000, 350_000, 350_000),
        ThreePoint(10, 10, 10),
        14.0,
        "typed",
    )
    compared = ways_to_end(certain(500_000.0, 120_000.0, 40.0, rules), [stands])

    assert {one.key: round(one.worth) for one in compared.choices} == {
        "go on": 300_000,
        "as it stands": 330_000,
    }
    assert compared.best == "as it stands"
    assert compared.switch_cost == pytest.approx(-30_000.0, abs=0.5)
    assert "300.00 USD (or 15 own hours) cheaper" in compared.switch


@pytest.mark.parametrize("extra", [0.0, 29_900.0, 30_100.0])
def test_going_on_is_right_until_just_so_much_more_cost_appears(extra: float) -> None:
    rules = Rules(wage_per_hour=2000.0, holding_per_day=0.0, chosen=("wage",))
    scrap = WayOut(
        "scrap", "scrapping it", ThreePoint(270_000, 270_000, 270_000), ThreePoint(0, 0, 0), 0.0, "typed"
    )
    compared = ways_to_end(certain(500_000.0, 120_000.0 + extra, 40.0, rules), [scrap])

    assert compared.best == ("go on" if extra < 30_000.0 else "scrap")


@pytest.mark.parametrize("spent", [0.0, 10_000.0, 250_000.0])
def test_money_spent_on_nothing_that_is_ahead_changes_no_choice(spent: float) -> None:
    known = Known(price_paid=90_000.0, elapsed_days=30.0, booked=(Booked("", "A trip in vain", spent, 0.0),))
    compared = ways_to_end(with_actuals(a_car(), catalogue(), known))
    without = ways_to_end(with_actuals(a_car(), catalogue(), replace(known, booked=())))

    assert [one.key for one in compared.choices] == [one.key for one in without.choices]
    for one, other in zip(compared.choices, without.choices, strict=True):
        # the grid of the costs is chosen anew, which may move a cent or two of some thousand
        assert one.money.mean == pytest.approx(other.money.mean, abs=1.0)
        assert one.money.low == pytest.approx(other.money.low, abs=150.0)
        assert one.worth == pytest.approx(other.worth, abs=1.0)


def test_what_was_paid_for_the_car_counts_in_no_choice() -> None:
    cheap = ways_to_end(replace(a_car(), price=10_000.0))
    dear = ways_to_end(replace(a_car(), price=400_000.0))

    assert [one.worth for one in cheap.choices] == [one.worth for one in dear.choices]


def test_own_hours_worked_are_gone_and_the_hours_ahead_fall() -> None:
    chosen = Known(chosen={"rep_clutch_fwd": "new"})
    worked = replace(chosen, booked=(Booked("rep_clutch_fwd", "clutch", 0.0, 12.0),))
    before = ahead_of(with_actuals(a_car(), catalogue(), chosen))
    after = ahead_of(with_actuals(a_car(), catalogue(), worked))

    assert after.hours.mean < before.hours.mean - 8.0
    assert after.worth > before.worth


def test_the_band_of_a_way_out_is_that_of_its_three_points_and_its_tail_mean_that_of_draws() -> None:
    way = WayOut(
        "parts", "parting it out", ThreePoint(50_000, 70_000, 95_000), ThreePoint(20, 30, 45), 20.0, "typed"
    )
    rules = replace(RULES, holding_per_day=100.0, tail_share=0.2, chosen=("tail",), tail_loss=1e9)
    one = next(c for c in ways_to_end(a_car(rules), [way]).choices if c.key == "parts")
    drawn = np.sort(fitted(way.money).sample(np.random.default_rng(5), 400_000)) - 2000.0

    assert one.money.low == pytest.approx(48_000, abs=1)
    assert one.money.high == pytest.approx(93_000, abs=1)
    assert one.low_tail == pytest.approx(drawn[:80_000].mean(), rel=2e-3)
    assert one.per_hour == pytest.approx(one.money.mean / one.hours.mean)


def test_a_choice_that_breaks_a_chosen_rule_stands_back() -> None:
    careful = replace(RULES, chosen=("wage", "loss"), loss_chance=0.02, wage_per_hour=0.0)
    risky = a_car(careful, value=(60_000.0, 900_000.0))
    compared = ways_to_end(risky)
    going = next(one for one in compared.choices if one.key == "go on")

    assert going.refused
    assert compared.best != "go on"


def test_without_any_way_out_going_on_is_left() -> None:
    compared = ways_to_end(a_car(), [])

    assert (compared.best, compared.switch, compared.switch_cost) == ("go on", "", None)
    assert math.isfinite(compared.choices[0].worth)


def test_scrap_by_weight_and_an_offer_in_hand_are_ways_out() -> None:
    ways = {
        w.key: w
        for w in usual_ways_out(
            RULES, 490_000.0, offer=300_000.0, weight_kg=1000.0, scrap_per_kg=22.0, as_it_stands=150_000.0
        )
    }

    assert set(ways) == {"offer", "as it stands", "parts", "scrap"}
    assert ways["scrap"].money.likely == 22_000.0
    assert "1000 kg" in ways["scrap"].origin


def test_a_whole_decision_without_a_store_is_quick_enough_for_many_cars() -> None:
    import time

    case = a_car()
    ways_to_end(case)
    times = []
    for _ in range(5):
        start = time.process_time()
        ways_to_end(case)
        forecast(case)
        times.append(time.process_time() - start)

    # the goal is 30 ms; ten times as much tells only a slip of its order
    assert min(times) < 0.3
