"""Many cars at once must be priced as each car alone."""

import sys
from dataclasses import replace

import pytest

from driveout.errors import CannotSay
from driveout.faults import Beta, Cause, Finding, Link, Network, infer
from driveout.outlook import Case, Forecast, Rules, chances_of
from driveout.outlook.many import OneOfMany, loss_ceilings
from tests.independent.test_outlook import a_book, a_network

RULES = Rules(
    holding_per_day=3.0,
    loss_chance=0.1,
    purchase_tax_share=0.06,
    capital_share_per_year=0.0,
    chosen=("loss",),
)


def test_the_fast_way_and_the_general_way_agree_with_shared_work_and_a_swap() -> None:
    network, evidence = a_network(1)
    book = a_book(network, 1)
    fewer = dict(list(evidence.items())[2:])
    proved = {**fewer, "c3": "absent", "c4": "severe"}
    cars = [OneOfMany(e, (2600.0, 3800.0 + 100 * k)) for k, e in enumerate((evidence, fewer, proved))]

    fast = loss_ceilings(network, book, RULES, cars, largest_cost=8000.0, points=512)

    for price, car in zip(fast, cars, strict=True):
        case = Case(chances_of(infer(network, car.evidence)), book, car.value, RULES)
        made = Forecast(case, 8192)
        assert price == pytest.approx(made.cash.quantile(0.1) / made.price_factor, abs=0.02)


def test_without_the_compiled_loops_each_car_goes_the_general_way(monkeypatch: pytest.MonkeyPatch) -> None:
    network, evidence = a_network(2)
    book = a_book(network, 2)
    cars = [OneOfMany(evidence, (2600.0, 3800.0))]
    fast = loss_ceilings(network, book, RULES, cars, largest_cost=8000.0)

    monkeypatch.setitem(sys.modules, "driveout.outlook.many_fast", None)
    slow = loss_ceilings(
        network, book, replace(RULES, capital_share_per_year=0.08), cars, largest_cost=8000.0
    )

    assert slow == pytest.approx(fast, abs=0.2)


def test_findings_that_contradict_each_other_name_the_car() -> None:
    network = Network(
        (Cause("slip", "Slip", Beta.of(0.2)),),
        (Finding("smell", "Smell", (Link("slip", (Beta(1.0, 0.0),)),), (Beta(0.0, 1.0),)),),
    )
    cars = [OneOfMany({}, (900.0, 1000.0)), OneOfMany({"smell": "no", "slip": "present"}, (900.0, 1000.0))]

    with pytest.raises(CannotSay, match="car 2"):
        loss_ceilings(network, a_book(a_network(1)[0], 1).plus(()), RULES, cars, largest_cost=8000.0)
