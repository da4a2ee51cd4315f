"""The garage's books over all cars: balances, shelf, tools, exports; and the journal as JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response

from driveout.cars.actions import list_cars
from driveout.errors import BadEntry, DriveoutError
from driveout.files import csv_table
from driveout.money import KIND_NAMES, actions, car_part
from driveout.money.bank_file import DAY_ORDERS, BankLine, bank_lines, guessed_columns
from driveout.money.exports import beancount_text, journal_csv, ledger_text
from driveout.money.journal import amount_text
from driveout.money.journal_file import journal_yaml, read_journal
from driveout.money.reply import plain_journal
from driveout.units import Money
from driveout.web import Form, PostedForm, Tx, now, page, reading, submit

router = APIRouter()
api = APIRouter(prefix="/api")

_TYPES = {"beancount": "text/plain", "hledger": "text/plain", "csv": "text/csv", "yaml": "application/yaml"}


@router.get("/money")
def show(request: Request) -> Response:
    """Draw the garage's books."""
    with reading(request) as tx:
        return _books(request, tx)


def _currency(tx: Tx) -> str:
    cars = list_cars(tx)
    return cars[0].currency if cars else "USD"


def _books(
    request: Request, tx: Tx, form: Form | None = None, error: DriveoutError | None = None
) -> Response:
    rows = [
        (account, f"{amount_text(amount, commodity)} {commodity}")
        for (account, commodity), amount in sorted(actions.all_balances(tx).items())
        if amount
    ]
    return page(
        request,
        "money/books.html",
        form=form,
        error=error,
        rows=rows,
        shelf=actions.supplies_on_shelf(tx),
        currency=_currency(tx),
    )


def _do(request: Request, form: Form, do: Any) -> Response:
    return submit(request, do, then="/money", again=lambda tx, error: _books(request, tx, form, error))


@router.get("/money/year/{year}")
def show_year(request: Request, year: int) -> Response:
    """Draw one year of the books."""
    with reading(request) as tx:
        summary = actions.year_of(tx, year, _currency(tx))
        names = {car_part(car.id): car.name for car in list_cars(tx)}
        rows = [
            (names.get(row.car, row.car) or "Garage", row.category, row.amount.text()) for row in summary.rows
        ]
        return page(request, "money/year.html", summary=summary, rows=rows)


@router.post("/money/supplies")
def supplies(request: Request, form: PostedForm) -> Response:
    """Buy supplies for the shelf."""
    return _do(
        request,
        form,
        lambda tx: actions.buy_supplies(
            tx,
            form.money("amount", _currency(tx)),
            form.text("what"),
            form.decimal("quantity", least=0),
            form.text("unit", longest=20),
            form.day("day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/money/tool")
def tool(request: Request, form: PostedForm) -> Response:
    """Buy a tool."""
    return _do(
        request,
        form,
        lambda tx: actions.buy_tool(
            tx,
            form.money("tool_amount", _currency(tx)),
            form.text("tool"),
            form.day("tool_day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/money/own")
def own_money(request: Request, form: PostedForm) -> Response:
    """Put own money in."""
    return _do(
        request,
        form,
        lambda tx: actions.book_own_money(
            tx,
            form.money("own_amount", _currency(tx)),
            form.day("own_day"),
            at=now(request),
            token=form.raw.get("once", ""),
        ),
    )


@router.post("/money/close")
def close(request: Request, form: PostedForm) -> Response:
    """Close the books through a day."""
    return _do(request, form, lambda tx: actions.close_period(tx, form.day("through"), at=now(request)))


@router.post("/money/import")
def take_in(request: Request, form: PostedForm) -> Response:
    """Bring the entries of a journal file in; those already there are left out."""

    def do(tx: Tx) -> Any:
        upload = form.file("journal")
        if upload is None or not upload.data:
            raise BadEntry("Choose a journal file (driveout-journal/1).", field="journal")
        return actions.import_journal(tx, read_journal(upload.data, upload.name), at=now(request))

    return _do(request, form, do)


@router.post("/money/bank")
def bank(request: Request, form: PostedForm) -> Response:
    """Read a bank's CSV and show each movement with what it probably is; books nothing yet."""
    with reading(request) as tx:
        try:
            upload = form.file("bank")
            if upload is None or not upload.data:
                raise BadEntry("Choose the CSV file of your bank.", field="bank")
            table = csv_table(upload.data, upload.name)
            columns = guessed_columns(table)
            changes: dict[str, Any] = {"spent_is_positive": form.ticked("spent_is_positive")}
            if form.raw.get("order") in DAY_ORDERS:
                changes["order"] = form.raw["order"]
            lines = bank_lines(table, replace(columns, **changes), _currency(tx))
        except DriveoutError as error:
            response = _books(request, tx, form, error)
            response.status_code = 422
            return response
        return page(
            request,
            "money/bank.html",
            suggestions=actions.suggestions(tx, lines[:_MOST_LINES]),
            columns=columns,
            more=max(0, len(lines) - _MOST_LINES),
            places=_places(tx),
        )


_MOST_LINES = 200


def _places(tx: Tx) -> list[tuple[str, str]]:
    """Where a movement can go."""
    open_cars = [car for car in list_cars(tx) if car.stage in ("bought", "in work", "for sale", "sold")]
    cars = [
        (f"car:{car.id}:{kind}", f"{car.name}: {KIND_NAMES[kind]}")
        for car in open_cars
        for kind in _BANK_KINDS
    ]
    return [
        ("", "leave it"),
        *cars,
        ("tools", "Tools"),
        ("overhead", "Overhead of the garage"),
        ("own", "Own money in or out"),
    ]


_BANK_KINDS = ("parts", "outside", "fees", "travel")


@router.post("/money/bank/book")
def bank_book(request: Request, form: PostedForm) -> Response:
    """Book the movements that were given a place."""

    def do(tx: Tx) -> None:
        currency = _currency(tx)
        columns = (form.many("key"), form.many("line_day"), form.many("line_amount"), form.many("line_text"))
        for key, day, minor, text in zip(*columns, strict=True):
            if to := form.raw.get(f"to_{key}", ""):
                line = BankLine(date.fromisoformat(day), Money(int(minor), currency), text, key)
                actions.book_bank_line(tx, line, to, at=now(request))

    return _do(request, form, do)


@router.get("/money/export/{form_name}")
def export(request: Request, form_name: str) -> Response:
    """Give the whole journal as a file."""
    if form_name not in _TYPES:
        raise BadEntry(
            f"{form_name[:20]!r} is not an export.",
            field="form",
            value=form_name[:20],
            allowed=", ".join(_TYPES),
        )
    with reading(request) as tx:
        journal = actions.journal_of(tx, _currency(tx))
    text = {
        "beancount": lambda: beancount_text(journal.entries),
        "hledger": lambda: ledger_text(journal.entries),
        "csv": lambda: journal_csv(journal.entries),
        "yaml": lambda: journal_yaml(journal),
    }[form_name]()
    ending = {"hledger": "journal"}.get(form_name, form_name)
    headers = {"Content-Disposition": f'attachment; filename="driveout.{ending}"'}
    return Response(text, media_type=_TYPES[form_name], headers=headers)


@api.post("/journal")
def journal(
    document: Annotated[dict[str, Any], Body(description="A journal, schema driveout-journal/1.")],
) -> dict[str, Any]:
    """Check a journal and say its balances and what each car cost and earned; needs no record."""
    return plain_journal(read_journal(json.dumps(document, indent=1, ensure_ascii=False), "request"))
