"""What would have to be true: each answer, put in, reaches its goal."""

from __future__ import annotations

from dataclasses import replace

import pytest

from driveout.outlook import Case, CostBook, FaultChances, Needed, forecast, what_must_be_true
from driveout.outlook.book import Mend, Piece
from driveout.outlook.forecast import Forecast
from driveout.rules import Rules
from driveout.uncertain import Fixed, ThreePoint, fitted

RULES = Rules(wage_per_hour=2000.0, capital_share_per_year=0.0, purchase_tax_share=0.0, holding_per_day=0.0)


def a_car(price: float, value: float, chance: float = 0.5) -> Case:
    mends = (Mend("big", "Big: mend it", (Piece("mend", Fixed(100_000.0), Fixed(20.0)),), repair="r"),)
    return Case(FaultChances.independent({"big": chance}), CostBook(mends), (value, value), RULES, price)


def answers(case: Case) -> dict[tuple[str, str], Needed]:
    return {(one.goal, one.key): one for one in what_must_be_true(case)}


def test_a_sure_sale_gives_every_answer_by_arithmetic() -> None:
    # own-reasoning: 4000.00 less a chance of a half of 1000.00 and 20 h is 3500.00 and 10 h, 3300.00 after the wage
    found = answers(a_car(320_000.0, 400_000.0))

    assert found["zero", "price"].needed == pytest.approx(350_000.0, abs=0.5)
    assert found["wage", "price"].needed == pytest.approx(330_000.0, abs=0.5)
    assert found["zero", "sale"].needed == pytest.approx(370_000.0, abs=0.5)
    assert found["wage", "sale"].needed == pytest.approx(390_000.0, abs=0.5)
    assert found["wage", "hours"].needed == pytest.approx(10.0 + 10_000.0 / 2000.0, abs=1e-3)
    assert found["zero", "repairs"].needed == pytest.approx(50_000.0 + 30_000.0, abs=0.5)
    assert found["zero", "hours"].needed is None  # hours cost no cash without a holding cost


def test_a_fault_whose_absence_would_do_is_told_from_one_that_would_not() -> None:
    just = answers(a_car(360_000.0, 400_000.0))["zero", "fault:big"]
    never = answers(a_car(420_000.0, 400_000.0))["zero", "fault:big"]

    assert just.needed == 0.0
    assert "400.00 USD on average" in just.words
    assert never.needed is None


def test_a_goal_that_no_value_of_an_input_reaches_is_said_so() -> None:
    found = answers(a_car(900_000.0, 400_000.0))

    assert found["zero", "repairs"].needed is None
    assert "No value of it alone" in found["zero", "repairs"].words


@pytest.mark.parametrize("price", [150_000.0, 260_000.0, 480_000.0])
def test_each_answer_put_in_reaches_its_goal_on_an_unsure_car(price: float) -> None:
    rules = Rules(wage_per_hour=1500.0, scrap=30_000.0)
    mends = (
        Mend(
            "a",
            "A: mend it",
            (Piece("a", fitted(ThreePoint(20_000, 60_000, 150_000)), fitted(ThreePoint(3, 6, 15))),),
        ),
        Mend(
            "b",
            "B: mend it",
            (Piece("b", fitted(ThreePoint(5_000, 9_000, 30_000)), fitted(ThreePoint(1, 2, 6))),),
        ),
    )
    always = (
        Piece(
            "Own search",
            fitted(ThreePoint(1_000, 3_000, 9_000)),
            fitted(ThreePoint(10, 20, 40)),
            key="outside-work",
        ),
    )
    case = Case(
        FaultChances.independent({"a": 0.6, "b": 0.3}),
        CostBook(mends, always=always),
        (330_000.0, 470_000.0),
        rules,
        price,
    )
    found = answers(case)
    made = Forecast(case)

    at_price = replace(case, price=found["zero", "price"].needed)
    assert forecast(at_price).profit.mean == pytest.approx(0.0, abs=1.0)
    needed = found["wage", "sale"].needed
    assert needed is not None
    scale = needed / made.resale.mean
    at_sale = Forecast(replace(case, value=(330_000.0 * scale, 470_000.0 * scale)))
    assert at_sale.charged.mean - price * at_sale.price_factor == pytest.approx(0.0, abs=2.0)
    more = found["zero", "repairs"].needed
    assert (more is None) == (price > 400_000.0)  # no repair is so cheap that it saves the dearest car
    if more is None:
        return
    extra = more - found["zero", "repairs"].now
    if extra > 0:
        dearer = replace(case, book=CostBook(mends, always=(*always, Piece("More", Fixed(extra)))))
        assert forecast(dearer).profit.mean == pytest.approx(0.0, abs=2.0)
