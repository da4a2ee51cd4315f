"""The identification number of a car: entered, tried against its check digit, read by decoders as proposals."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy import Connection as Tx

from driveout.cars import actions
from driveout.cars.car import Car
from driveout.cars.decoded import INSTALL, Compared, compared, decoders
from driveout.cars.vin import VinReading, read_vin, vin_suggestions
from driveout.errors import BadEntry, DriveoutError
from driveout.web import Form, PostedForm, now, page, reading, submit

router = APIRouter()


@dataclass(frozen=True)
class Told:
    """What one decoder says, set beside what was typed."""

    source: str
    rows: tuple[Compared, ...]
    troubles: tuple[str, ...]

    @property
    def differing(self) -> tuple[Compared, ...]:
        """Rows that do not agree with what was typed."""
        return tuple(row for row in self.rows if row.agrees is False)

    @property
    def offered(self) -> tuple[Compared, ...]:
        """Rows that may be taken over: not typed yet, or typed differently."""
        return tuple(row for row in self.rows if row.fact.key and not row.agrees)


@router.get("/cars/{car_id}/identity")
def show(request: Request, car_id: int) -> Response:
    """Identification number of the car: whether it can be true, and what it says about the car."""
    with reading(request) as tx:
        return _identity_page(request, tx, car_id)


def _identity_page(
    request: Request, tx: Tx, car_id: int, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    car = actions.get_car(tx, car_id)
    read, trouble = _read(car, now(request).year)
    typed_now = form.raw.get("vin", car.vin) if form is not None else car.vin
    typed = car.facts | {"made_year": car.made_year}
    return page(
        request,
        "cars/identity.html",
        tx=tx,
        car_id=car_id,
        chapter="wear",
        form=form,
        error=error,
        car=car,
        read=read,
        trouble=trouble,
        year_differs=bool(read and read.years and car.made_year and car.made_year not in read.years),
        suggestions=vin_suggestions(typed_now),
        told=[
            Told(said.source, compared(said, typed), said.troubles)
            for said in (decoders(car.vin, year=car.made_year) if car.vin else ())
        ],
        install=INSTALL,
    )


def _read(car: Car, year: int) -> tuple[VinReading | None, str]:
    """The number read, or why it cannot be."""
    if not car.vin:
        return None, ""
    try:
        return read_vin(car.vin, this_year=year), ""
    except BadEntry as error:
        return None, error.message


@router.post("/cars/{car_id}/identity")
def enter(request: Request, car_id: int, form: PostedForm) -> Response:
    """Keep the number and the model year."""

    def do(tx: Tx) -> Car:
        year = form.whole("made_year", least=1900, most=now(request).year + 1, required=False)
        vin = form.text("vin", required=False, longest=60)
        version = form.whole("version", required=False)
        return actions.set_identity(tx, car_id, vin, year, at=now(request), version=version)

    return submit(
        request,
        do,
        then=f"/cars/{car_id}/identity",
        again=lambda tx, error: _identity_page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/identity/take")
def take(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take over what was ticked of a decoder's proposals."""
    return submit(
        request,
        lambda tx: actions.take_over(
            tx,
            car_id,
            tuple(form.many("take")),
            at=now(request),
            version=form.whole("version", required=False),
        ),
        then=f"/cars/{car_id}/identity",
        again=lambda tx, error: _identity_page(request, tx, car_id, form, error),
    )
