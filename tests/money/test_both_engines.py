"""The same car, booked and closed, gives the same figures on both engines."""

from __future__ import annotations

import datetime
from decimal import Decimal

from driveout.cars.actions import add_car
from driveout.money import actions, balances
from driveout.money.bank_file import BankLine
from driveout.store import Store
from tests.conftest import Clock
from tests.money.story import usd


def test_a_car_is_booked_sold_and_summed_alike(either_store: Store, clock: Clock) -> None:
    at, day = clock(), clock().date()
    with either_store.writing() as tx:
        car = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=at).id
        actions.book_purchase(tx, car, usd("1450"), day, at=at, token="a")
        kit = actions.book_receipt(
            tx, car, "parts", usd("188.60"), "Kit", "", day, at=at, core=usd("40"), token="b"
        )
        actions.book_core_return(tx, car, kit.number, day, at=at, back=usd("25"))
        actions.book_hours(tx, car, "clutch", 3.5, at)
        actions.book_travel(tx, car, Decimal("46.2"), "mi", day, at=at, per_unit=Decimal("0.70"))
        lot = actions.buy_supplies(tx, usd("10"), "Grease", Decimal(3), "tube", day, at=at)
        actions.issue_supplies(tx, lot.number, {car: Decimal(1)}, day, at=at)
        wrong = actions.book_receipt(tx, car, "fees", usd("9"), "Wrong", "", day, at=at)
        actions.reverse_entry(tx, wrong.number, "typed twice", at=at)
        actions.book_bank_line(tx, BankLine(day, usd("-5"), "Coffee", "k"), "overhead", at=at)
    with either_store.writing() as tx:
        again = actions.book_receipt(
            tx, car, "parts", usd("188.60"), "Kit", "", day, at=at, core=usd("40"), token="b"
        )
        actions.book_sale(tx, car, usd("3000"), usd("20"), day, at=at)
        actions.close_period(tx, day - datetime.timedelta(days=1), at=at)

    with either_store.reading() as tx:
        assert again.number == kit.number
        # By hand: 3000 - 20 - 1450 - 163.60 - 32.34 - 3.33 (a third of 10.00).
        assert actions.cost_so_far(tx, car).profit == usd("1330.73")
        assert actions.all_balances(tx) == balances(actions.every_entry(tx))
        assert actions.minutes_by_work(tx, [car]) == {(f"Car-{car}", "clutch"): 210}
        assert actions.year_of(tx, day.year, "USD").result == usd("1325.73")
