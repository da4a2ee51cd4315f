"""The chapter Value: similar cars in, value with its interval out, and what each of them does to it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars import Car
from driveout.cars.actions import get_car
from driveout.errors import BadEntry, DriveoutError
from driveout.files import yaml_document
from driveout.market import actions
from driveout.market.appraisal import REFERS_TO_WORDS
from driveout.market.chart import Dot, price_chart
from driveout.market.comparables import Comparable
from driveout.market.own_file import SCHEMA, appraise_case, case_from_document
from driveout.market.steadiness import steadiness_words
from driveout.market.time_to_sell import sale_rate, stays
from driveout.market.use_a_year import CAUTION, yearly_use
from driveout.units import Money
from driveout.web import Chapter, Form, PostedForm, Tx, Undo, now, page, reading, submit

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
    """What the car is worth, from similar cars seen for sale or sold."""
    with reading(request) as tx:
        return _value_page(request, tx, car_id)


@router.post("/cars/{car_id}/value/comparables")
def upload(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a table, as a file or pasted, and appraise the car anew."""

    def do(tx: Tx) -> Undo:
        file = form.file("file")
        unit = form.choice("mileage_unit", ("km", "mi"))
        if file is not None and file.data:
            new = actions.add_comparables(
                tx, car_id, file.data, file.name, at=now(request), mileage_unit=unit
            )
        elif form.raw.get("paste", "").strip():
            new = actions.add_pasted(tx, car_id, form.raw["paste"], at=now(request), mileage_unit=unit)
        else:
            raise BadEntry(
                "Choose a file, or paste a table with its header row or the text of adverts.", field="file"
            )
        actions.appraise_car(tx, car_id, at=now(request))
        return _added(car_id, {kept.id: kept.car for kept in new})

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/value/one")
def one(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take one comparable from the form and appraise the car anew."""

    def do(tx: Tx) -> Undo:
        unit = form.choice("mileage_unit", ("km", "mi"))
        cells = {name: form.text(name, required=False) for name in _CELLS}
        cells |= {name: form.plain(name, required=False) for name in ("price", "mileage") if name in cells}
        new = actions.add_one(tx, car_id, cells, at=now(request), mileage_unit=unit)
        actions.appraise_car(tx, car_id, at=now(request))
        return _added(car_id, {kept.id: kept.car for kept in new})

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/value/appraise")
def appraise_again(request: Request, car_id: int, form: PostedForm) -> Response:
    """Appraise the car with today's facts."""
    return _done(request, car_id, form, lambda tx: actions.appraise_car(tx, car_id, at=now(request)))


@router.post("/cars/{car_id}/value/seen")
def seen(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note that an advert still stands today, is gone, or take the comparable out."""

    def do(tx: Tx) -> Undo | None:
        number = form.whole("comparable", least=1) or 0
        version = form.whole("version", least=1) or 0
        what = form.choice("what", ("there", "gone", "out", "back"))
        if what in ("out", "back"):
            move = actions.take_out if what == "out" else actions.put_back
            kept = move(tx, car_id, number, version, at=now(request))
            if actions.comparables_of(tx, car_id):
                actions.appraise_car(tx, car_id, at=now(request))
            if what == "back":
                return None
            return Undo(
                f"/cars/{car_id}/value/seen",
                {"comparable": str(kept.id), "version": str(kept.version), "what": "back"},
                f"Taken out: {kept.car.label}.",
            )
        today = now(request).date()
        actions.note_seen(tx, car_id, number, version, today, what == "gone", at=now(request))
        return None

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/value/take-back")
def take_back(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take out again what was just added."""

    def do(tx: Tx) -> None:
        numbers = {text for text in form.text("comparables", longest=20_000).split() if text.isdigit()}
        for kept in actions.comparables_of(tx, car_id):
            if str(kept.id) in numbers:
                actions.take_out(tx, car_id, kept.id, kept.version, at=now(request))
        if actions.comparables_of(tx, car_id):
            actions.appraise_car(tx, car_id, at=now(request))

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
        undo=lambda result: result if isinstance(result, Undo) else None,
    )


def _added(car_id: int, new: Mapping[int, Comparable]) -> Undo:
    """What was read, in words, so that a wrong reading is seen and taken back."""
    if not new:
        return Undo(
            f"/cars/{car_id}/value/take-back", {"comparables": "0"}, "All of these were there already."
        )
    named = "; ".join(_read_as(car) for car in list(new.values())[:3])
    more = f"; and {len(new) - 3} more" if len(new) > 3 else ""
    numbers = " ".join(map(str, new))
    return Undo(f"/cars/{car_id}/value/take-back", {"comparables": numbers}, f"Read: {named}{more}.")


def _read_as(car: Comparable) -> str:
    age = str(car.made_year) if car.made_year else f"{car.age_years:.1f} years old"
    distance = "no distance" if car.mileage_km is None else f"{car.mileage_km:,.0f} km"
    return f"{car.price.text()} {'paid' if car.kind == 'sold' else 'asked'}, {age}, {distance}"


def _value_page(
    request: Request, tx: Tx, car_id: int, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    car = get_car(tx, car_id)
    appraisal = actions.latest_appraisal(tx, car_id)
    kept = actions.comparables_of(tx, car_id)
    cars, today = [one.car for one in kept], now(request).date()
    followed = stays(cars, today)
    rate = sale_rate(followed)
    is_known = car.mileage_km is not None and car.made_year is not None
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
        refers_to=REFERS_TO_WORDS[appraisal.refers_to] if appraisal else "",
        chart=_chart(car, appraisal.low, appraisal.value, appraisal.high, pulls) if appraisal else "",
        use=yearly_use(actions.car_to_value(car, today), cars) if is_known else None,
        use_caution=CAUTION,
        asked=money(content["asked"]) if content else None,
        pulls=pulls[:MOST_ROWS_SHOWN],
        more_pulls=max(len(pulls) - MOST_ROWS_SHOWN, 0),
        outliers=[p for p in pulls if p["reason"]],
        effects=content.get("effects", []),
        own_models=content.get("own_models", 0),
        warnings=content.get("warnings", []),
        kept=kept[-MOST_ROWS_SHOWN:],
        more_kept=max(len(kept) - MOST_ROWS_SHOWN, 0),
        rate=rate,
        half_days=rate.days_until(0.5),
        steadiness=steadiness_words(followed),
    )


def _chart(car: Car, low: Money, value: Money, high: Money, pulls: Sequence[dict[str, Any]]) -> Markup:
    dots = [
        Dot(p["mileage_km"], p["price"], p.get("is_sold", False), bool(p["reason"]))
        for p in pulls
        if p.get("mileage_km") is not None
    ]
    if not dots or car.mileage_km is None:
        return Markup()
    return Markup(price_chart(dots, float(car.mileage_km), low, value, high))
