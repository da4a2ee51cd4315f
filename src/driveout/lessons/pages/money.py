"""The chapter Money of a car.

It stands here and not with the journal because its first table lays the cost so far beside the
frozen estimate, which the journal does not know.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from driveout.cars import Car
from driveout.cars.actions import get_car, list_cars
from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.lessons import actions
from driveout.lessons.estimate import Estimate
from driveout.lessons.variance import Actual
from driveout.money import COST_KINDS, KIND_NAMES, Entry, Rate, car_part, open_cores, standing
from driveout.money import actions as money
from driveout.money.car_cost import is_sold
from driveout.money.facts import MileageRate, mileage_rate
from driveout.money.journal import amount_text, core_number, reversed_number
from driveout.sources import cite
from driveout.units import Money
from driveout.web import Chapter, Form, PostedForm, Tx, Undo, now, page, reading, submit

router = APIRouter()
CHAPTERS = (Chapter("money", "Money", order=60),)
_ENTRIES_SHOWN = 25


@dataclass(frozen=True)
class EstimateRow:
    """One row of cost so far against the estimate."""

    label: str
    planned: Money | None
    booked: Money | None
    planned_hours: float | None
    hours: float | None
    entries: tuple[Entry, ...]

    @property
    def left(self) -> Money | None:
        """Estimate not yet spent; with a minus when overspent."""
        return self.planned - self.booked if self.planned is not None and self.booked is not None else None


def _rows(estimate: Estimate, booked: tuple[Actual, ...], entries: tuple[Entry, ...]) -> list[EstimateRow]:
    rows = []
    by_key = {actual.key: actual for actual in booked if actual.key}
    nothing = Money(0, estimate.currency)
    for line in estimate.lines:
        actual = by_key.get(line.key, Actual(line.key, line.label, nothing, Decimal(0), 0))
        own = tuple(e for e in entries if f"line-{line.key}" in e.links or e.fact("kind") == line.key)
        rows.append(
            EstimateRow(
                line.label,
                line.planned_money(estimate.currency),
                actual.cost,
                line.planned_minutes / 60 if line.hours else None,
                actual.minutes / 60 if line.hours or actual.minutes else None,
                own,
            )
        )
    for extra in (actual for actual in booked if not actual.key):
        same = tuple(entry for entry in entries if entry.narration == extra.label)
        cost = extra.cost if extra.cost.minor else None
        rows.append(EstimateRow(extra.label, None, cost, None, extra.minutes / 60 or None, same))
    return rows


@dataclass(frozen=True)
class JournalRow:
    """One entry as the page shows it."""

    entry: Entry
    amounts: tuple[tuple[str, str, str], ...]
    taken_back: bool
    can_go: bool


def _journal(entries: tuple[Entry, ...], start: int) -> list[JournalRow]:
    """The newest entries but the first ``start``, as many as one page shows."""
    alive = {entry.number for entry in standing(entries)}
    return [
        JournalRow(
            entry,
            tuple((p.account, amount_text(p.amount, p.commodity), p.commodity) for p in entry.postings),
            entry.number not in alive and not reversed_number(entry),
            entry.number in alive,
        )
        for entry in entries[::-1][start : start + _ENTRIES_SHOWN]
    ]


@router.get("/cars/{car_id}/money")
def show_money(request: Request, car_id: int, start: int = 0) -> Response:
    """What the car has cost so far against the estimate; receipts, hours, trips and the sale are booked here.

    ``start`` leaves out that many of the newest entries.
    """
    with reading(request) as tx:
        return _money_page(request, tx, car_id, start=max(0, start))


def _money_page(
    request: Request,
    tx: Tx,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
    start: int = 0,
) -> Response:
    car = get_car(tx, car_id)
    shown = actions.so_far(tx, car_id)
    entries = shown.entries
    alive = standing(entries)
    estimate = shown.estimate
    rate = _rate(request) if car.currency == "USD" else None
    sold = is_sold(entries, car_part(car_id))
    # A car taken in exchange has a purchase price without a purchase entry of its own.
    bought = shown.cost.by_kind["purchase"].minor > 0 or any(e.fact("kind") == "purchase" for e in alive)
    in_hand = bought and not sold
    kinds = [
        (KIND_NAMES[kind], amount, [e for e in alive if e.fact("kind") == kind and not core_number(e)])
        for kind, amount in shown.cost.by_kind.items()
        if amount.minor
    ]
    refundable = [
        (e.number, f"{e.day} {e.narration}")
        for e in alive
        if e.fact("kind") in ("parts", "outside", "fees", "supplies")
    ]
    shown_entries = _journal(entries, start)
    lines = [(line.key, line.label) for line in estimate.lines if line.kind != "purchase"] if estimate else []
    return page(
        request,
        "lessons/money.html",
        tx=tx,
        car_id=car_id,
        chapter="money",
        form=form,
        error=error,
        car=car,
        cost=shown.cost,
        kinds=kinds,
        estimate=estimate,
        rows=_rows(estimate, shown.booked, alive) if estimate else [],
        cores=open_cores(entries, car_part(car_id), car.currency),
        journal=shown_entries,
        older=start + _ENTRIES_SHOWN if len(entries) > start + _ENTRIES_SHOWN else None,
        refundable=refundable[:-101:-1],
        line_choices=[("", "not in the estimate"), *lines],
        kind_choices=[
            (kind, KIND_NAMES[kind]) for kind in COST_KINDS if kind not in ("purchase", "supplies")
        ],
        works=sorted(
            {line.kind_of_work for line in estimate.lines if line.kind_of_work} if estimate else set()
        ),
        shelf=money.supplies_on_shelf(tx),
        tools=money.tools(tx, car_id),
        held=money.deposits_held(tx, car_id),
        exchangeable=_exchangeable(tx, car) if in_hand else [],
        rate=rate,
        rate_source=cite(rate.source).title if rate else "",
        sold=sold,
        bought=bought,
        in_hand=in_hand,
    )


def _exchangeable(tx: Tx, car: Car) -> list[tuple[str, str]]:
    """Cars that may come in part exchange: in the record, not bought yet, same currency."""
    found = [
        (str(other.id), other.name)
        for other in list_cars(tx)
        if other.stage in ("advert", "viewing") and other.currency == car.currency and other.id != car.id
    ]
    return [("", "none"), *found[::-1][:50]] if found else []


def _rate(request: Request) -> MileageRate | None:
    """Published mileage rate of today, None when none is on file for this year."""
    try:
        return mileage_rate(now(request).date())
    except CannotSay:
        return None


def _book(request: Request, car_id: int, form: Form, do: Any) -> Response:
    """Carry out one booking form of the chapter."""
    return submit(
        request,
        lambda tx: do(tx, get_car(tx, car_id).currency),
        then=f"/cars/{car_id}/money",
        again=lambda tx, error: _money_page(request, tx, car_id, form, error),
        undo=lambda booked: _way_back(car_id, booked),
    )


def _way_back(car_id: int, booked: Any) -> Undo | None:
    """The reversal of what was just booked; a reversal itself has none."""
    entry = booked if isinstance(booked, Entry) else None
    if entry is None or not entry.number or reversed_number(entry):
        return None
    fields = {"entry": str(entry.number), "why": "taken back at once"}
    return Undo(f"/cars/{car_id}/money/reverse", fields, f"Booked: {entry.narration}.")


def _optional(form: Form, name: str, currency: str) -> Money | None:
    return form.money(name, currency) if form.raw.get(name, "").strip() else None


def _other_currency(form: Form, currency: str, day: str) -> Rate | None:
    """Rate that was typed for money paid in another currency; None when it was the car's."""
    of = form.text("paid_currency", required=False, longest=3).upper()
    if of in ("", currency):
        return None
    source = form.text("rate_source", longest=200)
    return Rate(of, currency, form.decimal("rate", least=0), form.day(day), source)


def _line_and_kind(tx: Tx, car_id: int, form: Form) -> tuple[str, str]:
    """Estimate line chosen and its kind; without a line the kind that was chosen."""
    line = form.text("line", required=False)
    estimate = actions.frozen_estimate(tx, car_id) if line else None
    for one in estimate.lines if estimate else ():
        if one.key == line:
            return line, one.kind
    if line:
        raise BadEntry(f"The estimate has no line {line!r}.", field="line", value=line)
    return "", form.choice("kind", list(COST_KINDS))


@router.post("/cars/{car_id}/money/receipt")
def receipt(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book a receipt."""

    def do(tx: Tx, currency: str) -> Entry:
        line, kind = _line_and_kind(tx, car_id, form)
        photo = form.file("photo")
        rate = _other_currency(form, currency, "day")
        amount = form.money("amount", rate.of if rate else currency)
        core = _optional(form, "core", rate.of if rate else currency)
        # Checked before the photo is written, so that a refused form leaves nothing behind.
        day, what, shop = form.day("day"), form.text("what"), form.text("shop", required=False)
        quantity = form.decimal("quantity", least=0) if form.raw.get("quantity", "").strip() else Decimal(1)
        digest = money.keep_photo(request.app.state.store.home, photo.data) if photo and photo.data else ""
        return money.book_receipt(
            tx,
            car_id,
            kind,
            amount,
            what,
            shop,
            day,
            at=now(request),
            core=core,
            line=line,
            quantity=quantity,
            photo=digest,
            rate=rate,
            token=form.raw.get("once", ""),
        )

    return _book(request, car_id, form, do)


@router.get("/cars/{car_id}/money/photo/{digest}")
def receipt_photo(request: Request, car_id: int, digest: str) -> Response:
    """One photographed receipt."""
    with reading(request) as tx:
        data, kind = money.photo_of(tx, request.app.state.store.home, car_id, digest)
    return Response(
        data, media_type=kind, headers={"Content-Disposition": "inline", "X-Content-Type-Options": "nosniff"}
    )


@router.post("/cars/{car_id}/money/purchase")
def purchase(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book the purchase."""

    def do(tx: Tx, currency: str) -> Entry:
        rate = _other_currency(form, currency, "price_day")
        price = form.money("price", rate.of if rate else currency)
        day, token = form.day("price_day"), form.raw.get("once", "")
        return money.book_purchase(tx, car_id, price, day, at=now(request), rate=rate, token=token)

    return _book(request, car_id, form, do)


@router.post("/cars/{car_id}/money/core")
def core(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book a core deposit back, in part, or given up."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.book_core_return(
            tx,
            car_id,
            form.whole("receipt", least=1) or 0,
            now(request).date(),
            at=now(request),
            back=Money(0, currency) if form.ticked("given_up") else _optional(form, "back", currency),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/refund")
def refund(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book money back on a receipt."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.book_refund(
            tx,
            car_id,
            form.whole("of_receipt", least=1) or 0,
            form.money("refund", currency),
            now(request).date(),
            at=now(request),
            fee=_optional(form, "fee", currency),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/hours")
def hours(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book own time."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, _: money.book_hours(
            tx,
            car_id,
            form.text("kind_of_work", longest=200),
            form.decimal("hours", "h", least=0, most=24),
            now(request),
            day=form.day("hours_day"),
            again=form.ticked("again"),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/travel")
def travel(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book a trip."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, _: money.book_travel(
            tx,
            car_id,
            form.decimal("distance", least=0, most=10_000),
            form.choice("unit", ("km", "mi")),
            form.day("trip_day"),
            at=now(request),
            what=form.text("trip", required=False),
            per_unit=form.decimal("per_unit", least=0, most=100)
            if form.raw.get("per_unit", "").strip()
            else None,
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/supplies")
def supplies(request: Request, car_id: int, form: PostedForm) -> Response:
    """Use supplies from the shelf on this car."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, _: money.issue_supplies(
            tx,
            form.whole("lot", least=1) or 0,
            {car_id: form.decimal("taken", least=0)},
            now(request).date(),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/sold")
def sold(request: Request, car_id: int, form: PostedForm) -> Response:
    """Book the sale."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.book_sale(
            tx,
            car_id,
            form.money("sale_price", currency),
            _optional(form, "sale_fees", currency),
            form.day("sale_day"),
            at=now(request),
            buyer=form.text("buyer", required=False),
            exchange=_exchange(form, currency),
            token=form.raw.get("once", ""),
        ),
    )


def _exchange(form: Form, currency: str) -> tuple[int, Money] | None:
    """Car taken in part exchange and what it counts for; None when none is."""
    if not form.raw.get("exchange", "").strip():
        return None
    return form.whole("exchange", least=1) or 0, form.money("allowance", currency)


@router.post("/cars/{car_id}/money/deposit")
def deposit(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a deposit from a buyer."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.book_buyer_deposit(
            tx,
            car_id,
            form.money("deposit", currency),
            form.text("deposit_buyer", required=False, longest=200),
            form.day("deposit_day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/deposit/settle")
def deposit_settle(request: Request, car_id: int, form: PostedForm) -> Response:
    """Give a buyer's deposit back, in whole, in part or not at all."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.settle_deposit(
            tx,
            car_id,
            form.money("deposit_back", currency),
            form.day("settled_day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/leftover")
def leftover(request: Request, car_id: int, form: PostedForm) -> Response:
    """Sell a leftover part or scrap of the car."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.book_by_product(
            tx,
            car_id,
            form.money("leftover_amount", currency),
            form.text("leftover", longest=300),
            form.day("leftover_day"),
            at=now(request),
            scrap=form.choice("leftover_kind", ("part", "scrap")) == "scrap",
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/let-go")
def let_go(request: Request, car_id: int, form: PostedForm) -> Response:
    """End the car without a buyer."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, currency: money.let_car_go(
            tx,
            car_id,
            form.money("scrap_amount", currency),
            form.day("scrap_day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/tool")
def tool(request: Request, car_id: int, form: PostedForm) -> Response:
    """Note that a tool of the garage was used on the car."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, _: money.use_tool(
            tx,
            car_id,
            form.whole("tool", least=1) or 0,
            form.whole("times", least=1, most=1000) or 0,
            form.day("tool_day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/cars/{car_id}/money/reverse")
def reverse(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take an entry back."""
    return _book(
        request,
        car_id,
        form,
        lambda tx, _: money.reverse_entry(
            tx,
            form.whole("entry", least=1) or 0,
            form.text("why"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )
