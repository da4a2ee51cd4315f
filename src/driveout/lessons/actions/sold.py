"""What sold cars say of values and of sale forecasts: every sale held against what was told before it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import partial

from driveout.cars import Car
from driveout.cars.actions import get_car, list_cars, trail_of
from driveout.errors import BadEntry
from driveout.market.actions import appraisal_before
from driveout.market.hindsight import Hindsight, SoldAfter, hindsight
from driveout.money.actions import cars_gone
from driveout.money.sale_forecast import SaleErrors, SaleLesson, forecast_from, sale_errors, sale_lesson
from driveout.store import Tx, remembered
from driveout.units import Money


@dataclass(frozen=True)
class SoldCar:
    """One sold car: its sale against the value and against the sale forecast told before it."""

    car_id: int
    name: str
    value: SoldAfter | None
    sale: SaleLesson | None


@dataclass(frozen=True)
class SoldCars:
    """All sold cars in one currency, newest first, and what they say together; None with nothing to say."""

    cars: tuple[SoldCar, ...]
    values: Hindsight | None
    sales: SaleErrors | None


def sold_cars(tx: Tx, currency: str, only: int | None = None) -> SoldCars:
    """Every sale against what was told before it.

    Parameters
    ----------
    tx
        Open transaction.
    currency
        Cars in this currency.
    only
        Number of the one car to look at; None for all.

    Returns
    -------
    SoldCars
        Cars that went for scrap and cars without a value or forecast teach nothing here.
    """
    cars = list_cars(tx) if only is None else [get_car(tx, only)]
    sold = [car for car in cars if car.stage == "sold" and car.currency == currency]
    gone = cars_gone(tx, [car.id for car in sold], currency)
    found: list[SoldCar] = []
    for car in sold[::-1]:
        end = gone.get(car.id)
        if end is None or end.price is None or end.price.minor <= 0:
            continue
        one = remembered(
            tx, ("sold", car.id), partial(_sold_car, tx, car, end.day, end.price), car=car.id, given=end
        )
        if one.value is not None or one.sale is not None:
            found.append(one)
    values = [one.value for one in found if one.value is not None]
    sales = [one.sale for one in found if one.sale is not None]
    return SoldCars(
        tuple(found), hindsight(values) if values else None, sale_errors(sales) if sales else None
    )


def _sold_car(tx: Tx, car: Car, day: datetime.date, price: Money) -> SoldCar:
    told = appraisal_before(tx, car.id, datetime.datetime.combine(day, datetime.time(), datetime.UTC))
    value = None
    if told is not None and told.log_sd > 0:
        value = SoldAfter(told.log_mean, told.log_sd, price, car.name)
    return SoldCar(car.id, car.name, value, _against_plan(tx, car.id, day, price))


def _against_plan(tx: Tx, car_id: int, day: datetime.date, price: Money) -> SaleLesson | None:
    events = trail_of(tx, car_id)[::-1]
    asked = next((event for event in events if event.kind == "ask"), None)
    plan = next((event for event in events if "forecast" in event.data), None)
    if asked is None or plan is None:
        return None
    try:
        return sale_lesson(forecast_from(plan.data["forecast"]), float((day - asked.at.date()).days), price)
    except BadEntry:
        return None
