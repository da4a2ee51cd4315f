"""The chapter Looking back."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars.actions import get_car
from driveout.errors import CannotSay, DriveoutError
from driveout.lessons import actions
from driveout.lessons.waterfall import waterfall_svg
from driveout.money import actions as money
from driveout.web import Chapter, Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()
CHAPTERS = (Chapter("lookback", "Looking back", order=90),)


@router.get("/cars/{car_id}/lookback")
def show_lookback(request: Request, car_id: int) -> Response:
    """Draw the chapter Looking back."""
    with reading(request) as tx:
        return _lookback_page(request, tx, car_id)


def _lookback_page(
    request: Request, tx: Tx, car_id: int, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    car = get_car(tx, car_id)
    try:
        result = actions.result_of(tx, car_id)
        missing = ""
    except CannotSay as unknown:
        result, missing = None, unknown.message
    variance = result.variance if result else None
    return page(
        request,
        "lessons/lookback.html",
        tx=tx,
        car_id=car_id,
        chapter="lookback",
        form=form,
        error=error,
        car=car,
        result=result,
        missing=missing,
        variance=variance,
        bridge=Markup(waterfall_svg(variance)) if variance else "",
        lessons=actions.lessons_of(tx, car_id),
        cores=money.cores_open(tx, car_id),
        proved=actions.proved(tx, car_id) if result else (),
    )


def _look(request: Request, car_id: int, form: Form, do: Any) -> Response:
    return submit(
        request,
        do,
        then=f"/cars/{car_id}/lookback",
        again=lambda tx, error: _lookback_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/lookback/close")
def close(request: Request, car_id: int, form: PostedForm) -> Response:
    """Close the car."""
    return _look(request, car_id, form, lambda tx: actions.close_car(tx, car_id, now(request)))


@router.post("/cars/{car_id}/lookback/reopen")
def reopen(request: Request, car_id: int, form: PostedForm) -> Response:
    """Reopen a closed car."""
    return _look(
        request, car_id, form, lambda tx: actions.reopen_car(tx, car_id, form.text("why"), now(request))
    )
