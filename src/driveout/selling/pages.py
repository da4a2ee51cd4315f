"""The chapter Sale: the asking plan, what waiting costs, who asked, and what to answer to an offer."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from markupsafe import Markup

from driveout.cars.actions import get_car
from driveout.cars.car import Car
from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.files import yaml_document
from driveout.market.actions import latest_appraisal
from driveout.money import Rate
from driveout.money.actions import deposits_held
from driveout.selling import actions
from driveout.selling.asking import OTHER_SENSITIVITIES, AskingPlan, asking_plan
from driveout.selling.chart import ChartStep, plan_svg
from driveout.selling.listing import LENGTHS, gaps, listing_text, photo_order
from driveout.selling.offers import ANSWERS, answer_offer
from driveout.selling.own_file import SCHEMA, situation_from_document
from driveout.selling.photos import SUBJECTS
from driveout.selling.records import KeptPlan, Offer
from driveout.selling.sale_file import SALE_SCHEMA, sale_from_document
from driveout.selling.sale_papers import (
    LISTS,
    SalePapers,
    gate_questions,
    payments,
    sale_facts,
    sale_papers_pdf,
)
from driveout.selling.situation import BOTTLENECKS, WEEKEND, SaleSituation
from driveout.selling.stopping import clearance_prices
from driveout.units import Money, money_from_text
from driveout.web import Chapter, Form, PostedForm, Tx, now, page, reading, submit
from driveout.workshop.actions import every_work

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("sale", "Sale", order=80),)


@dataclass(frozen=True)
class OfferRow:
    """One offer of the log with its advice ready to be shown."""

    offer: Offer
    counter_at: Money
    take_it: Money
    regret: tuple[tuple[str, Money], ...]
    reasons: tuple[str, ...]
    advice: str


@router.get("/cars/{car_id}/sale")
def show(request: Request, car_id: int, leftover_most: str = "", leftover_times: str = "2") -> Response:
    """What to ask and what to take, offers, photos and papers for the buyer, and closing the sale.

    With ``leftover_most`` also what to ask for a part of unknown worth.
    """
    with reading(request) as tx:
        currency = get_car(tx, car_id).currency
        clearance = _clearance(leftover_most, leftover_times, currency) if leftover_most.strip() else None
        return _sale_page(request, tx, car_id, clearance=clearance)


@dataclass(frozen=True)
class Clearance:
    """Prices to ask in turn for one leftover part."""

    rows: tuple[tuple[str, str], ...]
    expected: Money


def _clearance(most: str, times: str, currency: str) -> Clearance:
    worth = money_from_text(most[:40], currency)
    if worth.currency != currency:
        raise BadEntry(f"{worth.text()} is not in {currency}.", field="leftover_most", allowed=currency)
    if not times.strip().isdigit() or len(times) > 3:
        raise BadEntry(f"{times[:20]!r} is no number of times.", field="leftover_times", allowed="0 to 99")
    prices, expected = clearance_prices(float(worth.major), int(times) + 1)

    def money(amount: float) -> Money:
        return Money.of(f"{amount:.6f}", currency)

    rows = tuple((f"{i}.", money(price).text()) for i, price in enumerate(prices, 1))
    return Clearance(rows, money(expected))


@router.get("/cars/{car_id}/sale/buyers-file.pdf")
def print_buyers_file(request: Request, car_id: int) -> Response:
    """The buyer's file as a PDF."""
    with reading(request) as tx:
        made = actions.printed_buyers_file(tx, _home(request), car_id, now(request).date())
    return _pdf(made)


@router.get("/cars/{car_id}/sale/papers.pdf")
def print_sale_papers(request: Request, car_id: int) -> Response:
    """Bill of sale, deposit receipt, odometer facts and lists as a PDF."""
    with reading(request) as tx:
        papers = actions.sale_papers(tx, car_id, now(request).date())
    return _pdf(sale_papers_pdf(papers))


@router.get("/cars/{car_id}/sale/photo/{digest}")
def show_photo(request: Request, car_id: int, digest: str) -> Response:
    """A photo as it may leave the house."""
    with reading(request) as tx:
        data, kind = actions.leaving_photo(tx, _home(request), car_id, digest)
    return Response(data, media_type=f"image/{kind}", headers={"Cache-Control": "private"})


@router.post("/cars/{car_id}/sale/photo")
def photo(request: Request, car_id: int, form: PostedForm) -> Response:
    """Add a photo for the buyer."""

    def do(tx: Tx) -> None:
        upload = form.file("photo")
        if upload is None or not upload.data:
            raise BadEntry("Choose a photo first.", field="photo", allowed="JPEG or PNG")
        actions.add_photo(
            tx,
            _home(request),
            car_id,
            upload.data,
            subject=form.choice("subject", SUBJECTS),
            caption=form.text("caption", required=False, longest=200),
            at=now(request),
        )

    return _done(request, car_id, form, do, "#photos")


@router.post("/cars/{car_id}/sale/photo/from-work")
def photo_from_work(request: Request, car_id: int, form: PostedForm) -> Response:
    """Give the buyer a photo that was made at work."""

    def do(tx: Tx) -> None:
        job = form.whole("job", least=1) or 0
        digest = form.text("digest", longest=64)
        actions.give_work_photo(tx, _home(request), car_id, job, digest, at=now(request))

    return _done(request, car_id, form, do, "#photos")


@router.post("/cars/{car_id}/sale/photo/out")
def photo_out(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a photo out of what the buyer gets."""
    return _done(
        request,
        car_id,
        form,
        lambda tx: actions.drop_photo(tx, car_id, form.text("digest", longest=64), at=now(request)),
        "#photos",
    )


@router.post("/cars/{car_id}/sale/handover")
def handover(request: Request, car_id: int, form: PostedForm) -> Response:
    """Ask whether keys and papers may go."""
    kinds = tuple(kind.key for kind in payments())
    return _done(
        request,
        car_id,
        form,
        lambda tx: actions.check_handover(
            tx,
            car_id,
            form.choice("payment", kinds),
            [key for key in gate_questions() if form.ticked(key)],
            at=now(request),
        ),
        "#handover",
    )


@router.post("/cars/{car_id}/sale/plan")
def plan(request: Request, car_id: int, form: PostedForm) -> Response:
    """Make an asking plan."""
    return _done(
        request,
        car_id,
        form,
        lambda tx: actions.make_plan(tx, car_id, _entries(form, get_car(tx, car_id)), at=now(request)),
    )


@router.post("/cars/{car_id}/sale/ask")
def ask(request: Request, car_id: int, form: PostedForm) -> Response:
    """Put a price in the advert."""

    def do(tx: Tx) -> None:
        currency = get_car(tx, car_id).currency
        actions.put_ask(tx, car_id, form.money("ask", currency, Money(1, currency)), at=now(request))

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/sale/enquiry")
def enquiry(request: Request, car_id: int, form: PostedForm) -> Response:
    """Log that somebody asked."""
    return _done(
        request,
        car_id,
        form,
        lambda tx: actions.record_enquiry(
            tx, car_id, at=now(request), who=form.text("who", required=False, longest=200)
        ),
    )


@router.post("/cars/{car_id}/sale/offer")
def offer(request: Request, car_id: int, form: PostedForm) -> Response:
    """Log an offer; the page then shows what to answer."""

    def do(tx: Tx) -> None:
        currency = get_car(tx, car_id).currency
        rate = _other_currency(form, currency, now(request).date())
        offered_in = rate.of if rate else currency
        actions.record_offer(
            tx,
            car_id,
            form.money("amount", offered_in, Money(1, offered_in)),
            buyer=form.text("buyer", required=False, longest=200),
            at=now(request),
            rate=rate,
        )

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/sale/reply")
def reply(request: Request, car_id: int, form: PostedForm) -> Response:
    """Log what was answered to an offer."""

    def do(tx: Tx) -> None:
        currency = get_car(tx, car_id).currency
        answer = form.choice("answer", actions.OUTCOMES)
        counter = form.money("counter_at", currency, Money(1, currency)) if answer == "counter" else None
        actions.reply_to_offer(
            tx,
            car_id,
            form.whole("offer", least=1) or 0,
            answer,
            version=form.whole("version", least=1) or 0,
            at=now(request),
            counter_at=counter,
        )

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/sale/sold")
def sold(request: Request, car_id: int, form: PostedForm) -> Response:
    """Sell the car."""

    def do(tx: Tx) -> None:
        currency = get_car(tx, car_id).currency
        today = now(request).date()
        fees = form.money("fees", currency) if form.raw.get("fees", "").strip() else None
        day = form.day("day", latest=today) if form.raw.get("day", "").strip() else today
        rate = _other_currency(form, currency, day)
        paid_in = rate.of if rate else currency
        actions.sell_car(
            tx,
            car_id,
            form.money("price", paid_in, Money(1, paid_in)),
            at=now(request),
            fees=fees,
            day=day,
            buyer=form.text("buyer", required=False, longest=200),
            rate=rate,
            token=form.raw.get("once", ""),
        )

    return _done(request, car_id, form, do)


@router.post("/cars/{car_id}/sale/after")
def after(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note what was said after the sale."""
    return _done(
        request,
        car_id,
        form,
        lambda tx: actions.note_after_sale(tx, car_id, form.text("note", longest=2000), at=now(request)),
        "#after",
    )


@api.post("/asking")
def asking_file(body: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Asking plan for an own file (schema driveout-asking/1) sent as JSON."""
    return asking_plan(situation_from_document(yaml_document(json.dumps(body), "request", SCHEMA))).as_dict()


@api.post("/offer")
def offer_file(body: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Answer to an offer: keys ``amount`` and ``sale``, the latter an own file (driveout-asking/1)."""
    sale = body.get("sale")
    if not isinstance(sale, dict):
        raise BadEntry("The request needs 'sale', an own file as JSON.", field="sale", allowed=SCHEMA)
    situation = situation_from_document(yaml_document(json.dumps(sale), "request", SCHEMA))
    amount = body.get("amount")
    if isinstance(amount, bool) or not isinstance(amount, (int, float, str)):
        raise BadEntry("The request needs 'amount', a number.", field="amount", value=str(amount))
    text = f"{amount:.10f}".rstrip("0").rstrip(".") if isinstance(amount, float) else str(amount)
    return answer_offer(situation, Money.of(text, situation.currency)).as_dict()


@api.post("/sale-papers")
def sale_papers_file(request: Request, body: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """What the papers of an own sale (schema driveout-sale/1) are filled with."""
    return _sale_of(request, body).as_dict()


@api.post("/sale-papers.pdf")
def sale_papers_file_pdf(request: Request, body: Annotated[dict[str, Any], Body()]) -> Response:
    """The papers of an own sale (schema driveout-sale/1) as PDF."""
    return _pdf(sale_papers_pdf(_sale_of(request, body)))


def _other_currency(form: Form, currency: str, day: date) -> Rate | None:
    """Rate that was typed for money of another currency; None when it is the car's."""
    of = form.text("paid_currency", required=False, longest=3).upper()
    if of in ("", currency):
        return None
    return Rate(of, currency, form.decimal("rate", least=0), day, form.text("rate_source", longest=200))


def _sale_of(request: Request, body: dict[str, Any]) -> SalePapers:
    return sale_from_document(yaml_document(json.dumps(body), "request", SALE_SCHEMA), now(request).date())


def _home(request: Request) -> Path:
    home: Path = request.app.state.store.home
    return home


def _pdf(made: bytes) -> Response:
    return Response(made, media_type="application/pdf", headers={"Content-Disposition": "inline"})


def _done(request: Request, car_id: int, form: Form, do: Any, place: str = "") -> Response:
    return submit(
        request,
        do,
        then=f"/cars/{car_id}/sale{place}",
        again=lambda tx, error: _sale_page(request, tx, car_id, form, error),
    )


def _entries(form: Form, car: Car) -> dict[str, Any]:
    """Keys of an own file from the plan's form; an empty field leaves the record's own value."""
    entries: dict[str, Any] = {}
    for name in ("value", "fallback", "holding_per_day", "depreciation_per_day", "fee_fixed", "next_cost"):
        if name == "fallback" or form.raw.get(name, "").strip():
            entries[name] = str(form.money(name, car.currency).major)
    for name, unit, most in (
        ("fee_percent", "%", 90.0),
        ("sensitivity", "% per %", 60.0),
        ("next_work_days", "days", 3650.0),
    ):
        number = form.number(name, unit, least=0.0, most=most, required=False)
        if number is not None:
            entries[name] = number
    if "fee_percent" in entries:
        entries["fee_share"] = round(entries.pop("fee_percent") / 100, 6)
    entries["deadline_days"] = form.whole("deadline_days", least=1, most=730)
    entries["step_days"] = int(form.choice("step_days", ("7", "14")))
    entries["bottleneck"] = form.choice("bottleneck", BOTTLENECKS)
    viewers = form.whole("viewers_booked", least=0, most=50, required=False)
    if viewers:
        entries["viewers_booked"] = viewers
    if form.ticked("fresh"):
        entries |= {"fresh_gain": 1.0, "fresh_days": 10.0}
    if form.ticked("weekend"):
        entries["weekdays"] = list(WEEKEND)
    return entries


def _sale_page(
    request: Request,
    tx: Tx,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
    clearance: Clearance | None = None,
) -> Response:
    car = get_car(tx, car_id)
    kept = actions.latest_plan(tx, car_id)
    asks, enquiries, offers = actions.log_of(tx, car_id)
    situation, today = _today(request, tx, car_id, kept)
    facts = actions.listing_facts(tx, car_id, now(request).date())
    return page(
        request,
        "selling/sale.html",
        tx=tx,
        car_id=car_id,
        chapter="sale",
        form=form,
        error=error,
        car=car,
        appraisal=latest_appraisal(tx, car_id),
        kept=kept,
        entries=kept.situation if kept else {},
        situation=situation,
        plan=today,
        chart=_chart(today) if today else "",
        asks=asks,
        enquiries=enquiries,
        offers=[_row(one) for one in offers],
        answers=ANSWERS,
        lists={which: sale_facts(which) for which in LISTS},
        payment_options=[(kind.key, kind.name) for kind in payments()],
        gate=actions.last_handover_check(tx, car_id),
        links_open=sum(
            len(held.work.progress.undone - held.work.progress.back) for held in every_work(tx, car_id)
        ),
        questions=gate_questions(),
        subjects=SUBJECTS,
        kept_photos=actions.photos_of(tx, car_id),
        work_photos=actions.work_photos(tx, car_id),
        texts=[(length, listing_text(facts, length)) for length in LENGTHS],
        gaps=gaps(facts),
        photos=photo_order(facts),
        closed=car.stage in ("sold", "let go"),
        agreed=next((one for one in offers if one.answer == "accept"), None),
        deposit_held=deposits_held(tx, car_id),
        clearance=clearance,
        sensitivities=_sensitivities(today) if today else [],
        after_sale=actions.after_sale_notes(tx, car_id) if car.stage == "sold" else (),
    )


def _sensitivities(plan: AskingPlan) -> list[tuple[str, str]]:
    """Ask by price sensitivity, the believed one in the middle."""
    asks = (plan.other_asks[0], plan.simple_ask, plan.other_asks[1])
    rows = zip(OTHER_SENSITIVITIES, asks, strict=True)
    return [(f"{plan.sensitivity * factor:.1f} % fewer sales", ask.text()) for factor, ask in rows]


def _today(
    request: Request, tx: Tx, car_id: int, kept: KeptPlan | None
) -> tuple[SaleSituation | None, AskingPlan | None]:
    """The plan worked out anew with what is known now; None before the first plan."""
    if kept is None:
        return None, None
    try:
        situation = actions.current_situation(tx, car_id, at=now(request))
        return situation, asking_plan(situation)
    except (CannotSay, BadEntry):
        return None, None


def _chart(plan: AskingPlan) -> Markup:
    steps = [ChartStep(s.from_day, s.to_day, s.ask, s.take_it, s.ask_if_quiet) for s in plan.steps]
    return Markup(plan_svg(steps, plan.situation.fallback))


def _row(one: Offer) -> OfferRow:
    def money(text: str) -> Money:
        return Money.of(text, one.amount.currency)

    return OfferRow(
        one,
        money(one.advice["counter_at"]),
        money(one.advice["take_it"]),
        tuple((answer, money(one.advice["regret"][answer])) for answer in ANSWERS),
        tuple(one.advice["reasons"]),
        one.advice["answer"],
    )
