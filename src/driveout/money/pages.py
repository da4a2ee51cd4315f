"""The garage's books over all cars: balances, shelf, tools, exports; and the journal as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response

from driveout.cars.actions import list_cars
from driveout.errors import BadEntry, DriveoutError
from driveout.files import Table
from driveout.money import KIND_NAMES, actions, car_part
from driveout.money.bank_file import BankLine, bank_lines
from driveout.money.bank_layout import ENCODINGS, BankLayout, bank_table, known_layout, stated_columns
from driveout.money.exports import beancount_text, journal_csv, ledger_text
from driveout.money.journal import amount_text
from driveout.money.journal_file import journal_yaml, read_journal
from driveout.money.reply import plain_journal
from driveout.units import Money
from driveout.web import Form, PostedForm, Tx, now, page, reading, submit, writing

router = APIRouter()
api = APIRouter(prefix="/api")

_TYPES = {"beancount": "text/plain", "hledger": "text/plain", "csv": "text/csv", "yaml": "application/yaml"}


@router.get("/money")
def show(request: Request) -> Response:
    """Books of the garage: the shelf of supplies, tools, the bank's file and exports."""
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
        for (account, commodity), amount in sorted(_over_cars(actions.all_balances(tx)).items())
        if amount
    ]
    return page(
        request,
        "money/books.html",
        form=form,
        error=error,
        rows=rows,
        shelf=actions.supplies_on_shelf(tx),
        tools=actions.tools(tx),
        layouts=[layout.name for layout in actions.bank_layouts(tx)],
        encodings=[(name, name or "find it out") for name in ENCODINGS],
        currency=_currency(tx),
        other_money=actions.other_money(tx, _currency(tx)),
    )


def _over_cars(sums: Mapping[tuple[str, str], int]) -> dict[tuple[str, str], int]:
    """Balances with the accounts of all cars put together; each car's own stand in its Money chapter."""
    found: dict[tuple[str, str], int] = {}
    for (account, commodity), amount in sums.items():
        key = account.split(":Car-")[0], commodity
        found[key] = found.get(key, 0) + amount
    return found


def _do(request: Request, form: Form, do: Any) -> Response:
    return submit(request, do, then="/money", again=lambda tx, error: _books(request, tx, form, error))


@router.get("/money/year/{year}")
def show_year(request: Request, year: int) -> Response:
    """One year of the books."""
    with reading(request) as tx:
        first = _currency(tx)
        names = {car_part(car.id): car.name for car in list_cars(tx)}
        summaries = [
            actions.year_of(tx, year, currency)
            for currency in (actions.currencies_moved(tx, year, first) if 1970 <= year <= 9998 else (first,))
        ]
        years = [
            (
                summary,
                [
                    (names.get(row.car, row.car) or "Garage", row.category, row.amount.text())
                    for row in summary.rows
                ],
            )
            for summary in summaries
        ]
        return page(request, "money/year.html", year=year, years=years)


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
            uses=form.whole("uses", least=0, most=100_000, required=False) or 0,
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


@router.post("/money/exchange")
def exchange(request: Request, form: PostedForm) -> Response:
    """Change money into another currency."""

    def do(tx: Tx) -> None:
        base = _currency(tx)
        gave_in = form.text("gave_currency", required=False, longest=3).upper() or base
        got_in = form.text("got_currency", required=False, longest=3).upper() or base
        actions.exchange_money(
            tx,
            form.money("gave", gave_in),
            form.money("got", got_in),
            form.day("exchange_day"),
            base=base,
            rate_source=form.text("exchange_source", longest=200),
            at=now(request),
            token=form.raw.get("once", ""),
        )

    return _do(request, form, do)


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
    with writing(request) as tx:
        try:
            layout, table = _layout_and_table(tx, form)
            lines = bank_lines(table, layout.columns, _currency(tx))
            if form.raw.get("keep_as", "").strip():
                actions.keep_bank_layout(tx, layout)
        except DriveoutError as error:
            response = _books(request, tx, form, error)
            response.status_code = 422
            return response
        return page(
            request,
            "money/bank.html",
            suggestions=actions.suggestions(tx, lines[:_MOST_LINES]),
            layout=layout,
            columns=layout.columns,
            order_words=dict(_ORDERS)[layout.columns.order],
            more=max(0, len(lines) - _MOST_LINES),
            places=_places(tx),
        )


_ORDERS = (("ymd", "year, month, day"), ("dmy", "day, month, year"), ("mdy", "month, day, year"))
_YES_NO = {"yes": True, "no": False}


def _layout_and_table(tx: Tx, form: Form) -> tuple[BankLayout, Table]:
    """How the bank writes: a kept layout (chosen, or known by its columns), what was typed, the rest guessed."""
    upload = form.file("bank")
    if upload is None or not upload.data:
        raise BadEntry("Choose the CSV file of your bank.", field="bank")
    kept = actions.bank_layouts(tx)
    chosen = form.raw.get("layout", "")
    before = next((one for one in kept if one.name == chosen), None)
    if chosen and before is None:
        raise BadEntry(f"No layout is kept under {chosen[:60]!r}.", field="layout", value=chosen[:60])
    encoding = form.raw.get("encoding", "") or (before.encoding if before else "")
    table = bank_table(upload.data, upload.name, encoding)
    before = before or known_layout(table.columns, kept)
    said: dict[str, Any] = {
        name: form.text(f"column_{name}", required=False, longest=100)
        for name in ("day", "text", "amount", "out", "into")
    }
    said["order"] = form.raw.get("order", "")
    said["spent_is_positive"] = _YES_NO.get(form.raw.get("spent_is_positive", ""))
    said["decimal_comma"] = _YES_NO.get(form.raw.get("decimal_comma", ""))
    name = form.text("keep_as", required=False, longest=60) or (before.name if before else "this file")
    columns = stated_columns(table, said, before.columns if before else None)
    return BankLayout(name, columns, encoding, table.columns), table


@router.post("/money/bank/forget")
def bank_forget(request: Request, form: PostedForm) -> Response:
    """Forget how a bank writes its file."""
    return _do(request, form, lambda tx: actions.forget_bank_layout(tx, form.text("layout", longest=60)))


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
    """The whole journal as a file for another program."""
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
