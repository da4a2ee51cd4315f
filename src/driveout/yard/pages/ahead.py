"""The page The yard ahead: finish or stop, bays, cash, the next car, and what if."""

from __future__ import annotations

from datetime import timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from driveout.errors import BadEntry, DriveoutError
from driveout.repairs.actions import local
from driveout.units import Money
from driveout.web import Form, Tx, now, page, reading
from driveout.yard import actions
from driveout.yard.actions import Typed
from driveout.yard.pages.currency import yard_currency
from driveout.yard.what_if import Ahead, Change

router = APIRouter()


@router.get("/yard/ahead")
def ahead(request: Request) -> Response:
    """What to do with each car in hand, and what the yard comes to."""
    form = Form({name: value[:60] for name, value in request.query_params.items()})
    with reading(request) as tx:
        return _ahead_page(request, tx, form)


def _ahead_page(request: Request, tx: Tx, form: Form) -> Response:
    at, currency = now(request), yard_currency(tx)
    error: DriveoutError | None = None
    try:
        made = actions.yard_ahead(tx, _typed(form, currency), at=at, currency=currency)
    except BadEntry as refused:
        error = refused
        made = actions.yard_ahead(tx, Typed(), at=at, currency=currency)
    return page(
        request,
        "yard/ahead.html",
        form=form,
        error=error,
        status=200 if error is None else 422,
        made=made,
        tried=any(
            value.strip() for name, value in form.raw.items() if name not in ("bays_now", "keep", "search")
        ),
        changed=_rows(made.run.before, made.run.after, currency),
        now_rows=[row[:2] for row in _rows(made.run.before, made.run.before, currency)],
        order=[
            (
                course.name,
                local(at).date() + timedelta(days=round(course.finished)),
                local(at).date() + timedelta(days=round(course.sold)),
            )
            for course in made.run.before.courses
        ],
        text=lambda minor: Money(round(minor), currency).text(),
    )


def _typed(form: Form, currency: str) -> Typed:
    raw = form.raw

    def given(name: str) -> bool:
        return bool(raw.get(name, "").strip())

    change = Change(
        float(form.number("hours", unit="h", least=0.1, most=168) or 0) if given("hours") else None,
        float(form.money("wage", currency).minor) if given("wage") else None,
        form.whole("bays", least=1, most=50) if given("bays") else None,
        float(form.money("cash", currency).minor) if given("cash") else None,
        dropped=frozenset({form.whole("drop", least=1) or 0}) if given("drop") else frozenset(),
    )
    base = Typed()
    return Typed(
        form.whole("bays_now", least=1, most=50) if given("bays_now") else None,
        float(form.money("keep", currency).minor) if given("keep") else 0.0,
        float(form.number("search", unit="days", least=0, most=365) or 0)
        if given("search")
        else base.search_days,
        change,
        (form.whole("add", least=1) or 0) if given("add") else 0,
    )


def _rows(before: Ahead, after: Ahead, currency: str) -> list[tuple[str, str, str]]:
    def text(minor: float | None) -> str:
        return "-" if minor is None else Money(round(minor), currency).text()

    return [
        ("Money to come", text(before.money), text(after.money)),
        ("Own hours to come", f"{before.hours:.0f} h", f"{after.hours:.0f} h"),
        ("For each own hour", text(before.per_hour), text(after.per_hour)),
        ("Above the wage for each day of a bay", text(before.per_bay_day), text(after.per_bay_day)),
        ("Last sale in", f"{before.last_sale:.0f} days", f"{after.last_sale:.0f} days"),
        ("Least cash", text(before.lowest_cash), text(after.lowest_cash)),
        ("Cars", str(len(before.courses)), str(len(after.courses))),
    ]
