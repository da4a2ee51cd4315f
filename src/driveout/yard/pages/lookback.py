"""The chapter Looking back."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars.actions import get_car
from driveout.errors import CannotSay, DriveoutError
from driveout.faults.actions import knowledge_of
from driveout.lessons import actions
from driveout.lessons.actions.sold import sold_cars
from driveout.lessons.missed import ProvedFault
from driveout.lessons.waterfall import waterfall_svg
from driveout.money import actions as money
from driveout.web import Chapter, Form, PostedForm, Tx, now, page, reading, submit
from driveout.yard.actions.hindsight import WorthThen, worth_or_missing

router = APIRouter()
_CHECKS_SHOWN = 6
CHAPTERS = (Chapter("lookback", "Looking back", order=90),)


@router.get("/cars/{car_id}/lookback")
def show_lookback(request: Request, car_id: int) -> Response:
    """What a sold car earned, where it went against the plan, and what it teaches."""
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
    proved = actions.proved(tx, car_id) if result else ()
    worths, worths_missing = worth_or_missing(tx, car_id) if proved else ((), "")
    sold = next(iter(sold_cars(tx, car.currency, car_id).cars), None)
    return page(
        request,
        "yard/lookback.html",
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
        proved=proved,
        worths=worths[:_CHECKS_SHOWN],
        worths_missing=worths_missing,
        bearing=_bearing(tx, proved, worths),
        earlier=actions.earlier_results(tx, car_id),
        sold=sold,
    )


def _bearing(
    tx: Tx, proved: tuple[ProvedFault, ...], worths: tuple[WorthThen, ...]
) -> dict[str, list[tuple[str, WorthThen]]]:
    """For each proved fault the checks left out that could have shown it, with their worth on that day."""
    names = {sign.id: sign.name for sign in knowledge_of(tx).signs.values()}
    found: dict[str, list[tuple[str, WorthThen]]] = {}
    for fault in proved:
        missed = {check.name for check in fault.missed}
        found[fault.fault] = [
            (worth.name, worth) for worth in worths if missed & {names.get(one, "") for one in worth.outcomes}
        ]
    return found


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
