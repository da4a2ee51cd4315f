"""The chapter Value: similar cars in, value with its interval out, and what each of them does to it."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response

from driveout.cars.actions import get_car
from driveout.errors import BadEntry, DriveoutError
from driveout.files import yaml_document
from driveout.market import actions
from driveout.market.own_file import SCHEMA, appraise_case, case_from_document
from driveout.units import Money
from driveout.web import Chapter, Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("value", "Value", order=70),)

_CELLS = (
    "price",
    "mileage",
    "made_year",
    "kind",
    "title_status",
    "condition",
    "options",
    "place",
    "name",
    "seen",
)
MOST_ROWS_SHOWN = 60


@router.get("/cars/{car_id}/value")
def show(request: Request, car_id: int) -> Response:
    """Draw the chapter."""
    with reading(request) as tx:
        return _value_page(request, tx, car_id)


@router.post("/cars/{car_id}/value/comparables")
def upload(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a table, as a file or pasted, and appraise the car anew."""

    def do(tx: Tx) -> None:
        file = form.file("file")
        unit = form.choice("mileage_unit", ("km", "mi"))
        if file is not None and file.data:
            actions.add_comparables(tx, car_id, file.data, file.name, at=now(request), mileage_unit=unit)
        elif form.raw.get("paste", "").strip():
            actions.add_pasted(tx, car_id, form.raw["paste"], at=now(request), mileage_unit=unit)
        else:
            raise BadEntry("Choose a file or paste a table with its header row.", field="file")
        actions.appraise_car(tx, car_id, at=now(request))

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/value/one")
def one(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take one comparable from the form and appraise the car anew."""

    def do(tx: Tx) -> None:
        unit = form.choice("mileage_unit", ("km", "mi"))
        cells = {name: form.text(name, required=False) for name in _CELLS}
        actions.add_one(tx, car_id, cells, at=now(request), mileage_unit=unit)
        actions.appraise_car(tx, car_id, at=now(request))

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/value/appraise")
def appraise_again(request: Request, car_id: int, form: PostedForm) -> Response:
    """Appraise the car with today's facts."""
    return _done(request, car_id, form, lambda tx: actions.appraise_car(tx, car_id, at=now(request)))


@router.post("/cars/{car_id}/value/seen")
def seen(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note that an advert still stands today, is gone, or take the comparable out."""

    def do(tx: Tx) -> None:
        number = form.whole("comparable", least=1) or 0
        version = form.whole("version", least=1) or 0
        what = form.choice("what", ("there", "gone", "out"))
        if what == "out":
            actions.take_out(tx, car_id, number, version, at=now(request))
        else:
            today = now(request).date()
            actions.note_seen(tx, car_id, number, version, today, what == "gone", at=now(request))

    return _done(request, car_id, form, do)


@api.post("/appraise")
def appraise_file(request: Request, body: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Value the car of an own file (schema driveout-comparables/1) sent as JSON."""
    document = yaml_document(json.dumps(body), "request", SCHEMA)
    return appraise_case(case_from_document(document, now(request).date())).as_dict()


def _done(request: Request, car_id: int, form: Form, do: Any) -> Response:
    return submit(
        request,
        do,
        then=f"/cars/{car_id}/value",
        again=lambda tx, error: _value_page(request, tx, car_id, form, error),
    )


def _value_page(
    request: Request, tx: Tx, car_id: int, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    car = get_car(tx, car_id)
    appraisal = actions.latest_appraisal(tx, car_id)
    kept = actions.comparables_of(tx, car_id)
    rate = actions.sale_rate_of(tx, car_id, now(request).date())
    content = appraisal.content if appraisal else {}
    currency = content.get("currency", car.currency)

    def money(text: str) -> Money:
        return Money.of(text, currency)

    pulls = [
        {**p, "price": money(p["price"]), "fits_at": money(p["fits_at"]), "moves": money(p["moves"])}
        for p in content.get("pulls", [])
    ]
    return page(
        request,
        "market/value.html",
        tx=tx,
        car_id=car_id,
        chapter="value",
        form=form,
        error=error,
        car=car,
        appraisal=appraisal,
        asked=money(content["asked"]) if content else None,
        pulls=pulls[:MOST_ROWS_SHOWN],
        more_pulls=max(len(pulls) - MOST_ROWS_SHOWN, 0),
        outliers=[p for p in pulls if p["reason"]],
        effects=content.get("effects", []),
        warnings=content.get("warnings", []),
        kept=kept[-MOST_ROWS_SHOWN:],
        more_kept=max(len(kept) - MOST_ROWS_SHOWN, 0),
        rate=rate,
        half_days=rate.days_until(0.5),
    )
