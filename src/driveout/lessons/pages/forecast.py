"""The page Cash to come, over all cars."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars.actions import get_car, list_cars
from driveout.errors import DriveoutError
from driveout.lessons import actions
from driveout.lessons.cash_to_come import cash_svg
from driveout.money import actions as money
from driveout.money.cash_ahead import Planned
from driveout.web import Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()


@router.get("/money/forecast")
def show_forecast(request: Request) -> Response:
    """Cash to come over all cars, day by day."""
    with reading(request) as tx:
        return _forecast_page(request, tx)


def _forecast_page(
    request: Request, tx: Tx, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    currency = _currency(tx)
    found = actions.cash_to_come(tx, now(request).date(), currency)
    return page(
        request,
        "lessons/cash.html",
        form=form,
        error=error,
        currency=currency,
        ahead=found.ahead,
        undated=found.undated,
        sales=found.sales,
        chart=Markup(cash_svg(found.ahead)),
        typed=money.planned_money(tx),
    )


def _currency(tx: Tx) -> str:
    cars = list_cars(tx)
    return cars[0].currency if cars else "USD"


def _plan(request: Request, form: Form, do: Any) -> Response:
    return submit(
        request,
        do,
        then="/money/forecast",
        again=lambda tx, error: _forecast_page(request, tx, form, error),
    )


@router.post("/money/forecast")
def expect(request: Request, form: PostedForm) -> Response:
    """Expect money in or out on a day."""

    def do(tx: Tx) -> Planned:
        amount = form.money("amount", _currency(tx))
        if form.choice("way", ("out", "in")) == "out":
            amount = -amount
        return money.plan_money(
            tx, Planned(form.day("day"), amount, form.text("what", longest=200)), at=now(request)
        )

    return _plan(request, form, do)


@router.post("/money/forecast/sale")
def expect_sale(request: Request, form: PostedForm) -> Response:
    """Expect the sale of a car on a day."""

    def do(tx: Tx) -> Planned:
        car = get_car(tx, form.whole("car", least=1) or 0)
        price = form.money("price", car.currency)
        one = Planned(form.day("sale_day"), price, f"{car.name}: expected sale"[:200], "sale", car.id)
        return money.plan_money(tx, one, at=now(request))

    return _plan(request, form, do)


@router.post("/money/forecast/drop")
def drop_expected(request: Request, form: PostedForm) -> Response:
    """Take expected money off the list."""
    return _plan(
        request,
        form,
        lambda tx: money.drop_planned(
            tx, form.whole("planned", least=1) or 0, form.whole("version", least=1) or 0
        ),
    )
