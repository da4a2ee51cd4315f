"""The chapter Parts: what is needed, where it can be had, what is on its way, what must go back."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from driveout.cars.actions import get_car
from driveout.errors import BadEntry, DriveoutError
from driveout.money.actions import cores_open
from driveout.parts import CONDITIONS, Offer, Part, PartLine, actions, ranked_offers
from driveout.parts.used_engine import engine_verdict, used_engine_list
from driveout.units import Money, read_number
from driveout.web import Chapter, Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()
CHAPTERS = (Chapter("parts", "Parts", order=50),)


@router.get("/cars/{car_id}/parts")
def show(request: Request, car_id: int, day_cost: str = "", compression: str = "") -> Response:
    """Parts to buy: offers compared by money and by the days they take, deposits and returns.

    ``day_cost`` weighs waiting, ``compression`` judges a used engine's readings.
    """
    with reading(request) as tx:
        try:
            return _parts_page(request, tx, car_id, day_cost=day_cost, compression=compression)
        except BadEntry as error:
            # A question that cannot be answered changes nothing: the page stands, with the reason above.
            asked = Form({"day_cost": day_cost, "compression": compression})
            refused = _parts_page(request, tx, car_id, form=asked, error=error)
            refused.status_code = 422
            return refused


def _parts_page(
    request: Request,
    tx: Tx,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
    day_cost: str = "",
    compression: str = "",
) -> Response:
    car = get_car(tx, car_id)
    parts = actions.parts_of(tx, car_id)
    cost_of_a_day = Money(0, car.currency)
    if day_cost:
        cost_of_a_day = Form({"day_cost": day_cost}).money("day_cost", car.currency)
    offers = actions.offers_of(tx, parts)
    return page(
        request,
        "parts/parts.html",
        tx=tx,
        car_id=car_id,
        chapter="parts",
        form=form,
        error=error,
        car=car,
        parts=parts,
        offers={number: ranked_offers(some, cost_of_a_day) for number, some in offers.items()},
        to_do=actions.parts_to_do(tx, car_id, now(request).date()),
        owed={core.receipt.number: core.owed for core in cores_open(tx, car_id)},
        conditions=CONDITIONS,
        day_cost=day_cost,
        used_engine=used_engine_list(),
        judged=engine_verdict(_readings(compression)) if compression.strip() else None,
        compression=compression,
    )


def _readings(text: str) -> list[float]:
    """Compression readings typed one after the other."""
    return [float(read_number(word)) for word in text.replace(";", " ").replace("/", " ").split()]


def _do(request: Request, car_id: int, form: Form, do: Any) -> Response:
    return submit(
        request,
        lambda tx: do(tx, get_car(tx, car_id).currency),
        then=f"/cars/{car_id}/parts",
        again=lambda tx, error: _parts_page(request, tx, car_id, form, error),
    )


def _optional(form: Form, name: str, currency: str) -> Money | None:
    return form.money(name, currency) if form.raw.get(name, "").strip() else None


def _which(form: Form) -> tuple[int, int]:
    return form.whole("part", least=1) or 0, form.whole("version", least=1) or 0


@router.post("/cars/{car_id}/parts/need")
def need(request: Request, car_id: int, form: PostedForm) -> Response:
    """Put a part on the list."""
    return _do(
        request,
        car_id,
        form,
        lambda tx, _: actions.need_parts(
            tx,
            car_id,
            [
                PartLine(
                    form.text("line", required=False, longest=60),
                    form.text("what", longest=200),
                    form.decimal("quantity", least=0, most=1000),
                    form.text("number", required=False, longest=60),
                )
            ],
            at=now(request),
        ),
    )


@router.post("/cars/{car_id}/parts/offer")
def offer(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note an offer for a part."""

    def do(tx: Tx, currency: str) -> Offer:
        return actions.add_offer(
            tx,
            car_id,
            form.whole("part", least=1) or 0,
            Offer(
                form.text("shop", longest=200),
                form.money("price", currency),
                form.whole("lead_days", least=0, most=3650) or 0,
                form.choice("condition", CONDITIONS),
                _optional(form, "shipping", currency),
                _optional(form, "core", currency),
                form.whole("warranty_days", least=0, most=3650, required=False) or 0,
                form.whole("return_days", least=0, most=3650, required=False) or 0,
            ),
            at=now(request),
        )

    return _do(request, car_id, form, do)


@router.post("/cars/{car_id}/parts/order")
def order(request: Request, car_id: int, form: PostedForm) -> Response:
    """Order a part."""
    part, version = _which(form)
    return _do(
        request,
        car_id,
        form,
        lambda tx, _: actions.order_part(
            tx,
            car_id,
            part,
            form.whole("offer", least=1) or 0,
            now(request).date(),
            at=now(request),
            version=version,
        ),
    )


@router.post("/cars/{car_id}/parts/later")
def later(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note that an ordered part comes on another day."""
    part, version = _which(form)

    def do(tx: Tx, _: str) -> Part:
        day = form.day("day")
        return actions.expect_later(tx, car_id, part, day, at=now(request), version=version)

    return _do(request, car_id, form, do)


@router.post("/cars/{car_id}/parts/receive")
def receive(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a part in."""
    part, version = _which(form)
    return _do(
        request,
        car_id,
        form,
        lambda tx, currency: actions.receive_part(
            tx,
            car_id,
            part,
            now(request).date(),
            at=now(request),
            paid=_optional(form, "paid", currency),
            core=_optional(form, "paid_core", currency),
            shop=form.text("paid_shop", required=False),
            version=version,
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/parts/fit")
def fit(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note whether a part fits."""
    part, version = _which(form)
    return _do(
        request,
        car_id,
        form,
        lambda tx, _: actions.note_fit(
            tx, car_id, part, form.choice("fits", ("yes", "no")) == "yes", at=now(request), version=version
        ),
    )


@router.post("/cars/{car_id}/parts/back")
def give_back(request: Request, car_id: int, form: PostedForm) -> Response:
    """Give a part back."""
    part, version = _which(form)
    return _do(
        request,
        car_id,
        form,
        lambda tx, currency: actions.give_back(
            tx,
            car_id,
            part,
            form.money("refund", currency),
            now(request).date(),
            at=now(request),
            fee=_optional(form, "fee", currency),
            version=version,
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/parts/state")
def state(request: Request, car_id: int, form: PostedForm) -> Response:
    """Say that a part is not needed, or needed again."""
    part, version = _which(form)
    return _do(
        request,
        car_id,
        form,
        lambda tx, _: actions.set_state(
            tx, car_id, part, form.choice("state", ("needed", "not needed")), at=now(request), version=version
        ),
    )
