"""The yard, and a car's first page."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from driveout.cars.actions import get_car, trail_of
from driveout.web import header_of, now, page, reading
from driveout.yard import actions

router = APIRouter()
PER_PAGE = 40


@router.get("/")
def yard(request: Request, finished: bool = False, start: int = 0) -> Response:
    """The yard: all your cars, in the order of what needs you next."""
    with reading(request) as tx:
        rows = actions.rows_of_the_yard(tx, finished=finished, today=now(request).date())
        shown = rows[start : start + PER_PAGE]
        strips = {row.car.id: header_of(request, tx, row.car.id)["strip"] for row in shown}
        more = start + PER_PAGE if len(rows) > start + PER_PAGE else None
        return page(
            request,
            "yard/yard.html",
            rows=shown,
            strips=strips,
            finished=finished,
            more=more,
            total=len(rows),
        )


@router.get("/cars/{car_id}")
def car(request: Request, car_id: int) -> Response:
    """Go to the chapter that the car's next step is in."""
    with reading(request) as tx:
        return RedirectResponse(actions.next_for(tx, get_car(tx, car_id)).link, 303)


@router.get("/cars/{car_id}/trail")
def trail(request: Request, car_id: int) -> Response:
    """Trail: everything that happened to a car, newest first."""
    with reading(request) as tx:
        get_car(tx, car_id)
        return page(
            request, "yard/trail.html", tx=tx, car_id=car_id, chapter="trail", events=trail_of(tx, car_id)
        )
