"""The Viewing chapter: which check next and why, the sheet to take along, the record handed back."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from sqlalchemy import Connection

from driveout.cars.actions import get_car
from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.faults.actions import findings_of, network_for
from driveout.units import Money, money_from_text, read_number
from driveout.viewing import actions
from driveout.viewing.answers import decision_as_data, plan_as_data, viewing_as_data
from driveout.viewing.car_plan import KEPT, CarPlan
from driveout.viewing.decide import decide
from driveout.viewing.fault_viewing import answer_words
from driveout.viewing.problem_file import read_problem
from driveout.viewing.record_file import read_record
from driveout.viewing.viewing_file import SCHEMA as VIEWING
from driveout.viewing.viewing_file import read_viewing, schema_of
from driveout.web import Chapter, Form, PostedForm, Undo, now, page, reading, submit, typed_number

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("viewing", "Viewing", order=20),)
MINUTES = 60.0
# Needs that a person may have to do without, in words.
MAY_LACK = (
    ("permission", "The seller allows nothing to be opened"),
    ("jack", "No jack and stands with me"),
    ("cold", "The engine is warm already"),
    ("helper", "Nobody with me"),
)


class Asked:
    """What the address of the page asks for: price, time, number of checks, what is lacking."""

    def __init__(self, request: Request, currency: str) -> None:
        query = request.query_params
        price = typed_number(request, query.get("price", ""))
        self.price = money_from_text(price, currency) if price.strip() else None
        self.minutes = _number(typed_number(request, query.get("minutes", "")), "minutes", MINUTES)
        self.checks = round(_number(typed_number(request, query.get("checks", "")), "checks", KEPT))
        known = {need for need, _ in MAY_LACK}
        self.without = tuple(need for need in query.getlist("without") if need in known)

    @property
    def query(self) -> str:
        """The same question as part of an address."""
        asked: list[tuple[str, str]] = [("minutes", f"{self.minutes:g}"), ("checks", str(self.checks))]
        if self.price is not None:
            asked.append(("price", self.price.text()))
        return urlencode([*asked, *(("without", need) for need in self.without)])


def _number(text: str, field: str, otherwise: float) -> float:
    if not text.strip():
        return otherwise
    try:
        return float(read_number(text))
    except BadEntry as bad:
        raise BadEntry(f"{field.capitalize()}: {bad.message}", field=field, value=text) from bad


@router.get("/cars/{car_id}/viewing")
def show(request: Request, car_id: int) -> Response:
    """Which check to do next at the car, what it is worth, and the sheet to take along."""
    with reading(request) as tx:
        return _viewing_page(request, tx, car_id)


def _viewing_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    car = get_car(tx, car_id)
    context: dict[str, Any] = {
        "currency": car.currency,
        "price_text": request.query_params.get("price", ""),
        "minutes_text": request.query_params.get("minutes", f"{MINUTES:g}"),
        "checks_text": request.query_params.get("checks", str(KEPT)),
        "without": request.query_params.getlist("without"),
        "may_lack": MAY_LACK,
        "photos": actions.photos_of(tx, car_id),
        "missing": "",
        "query": "",
    }
    try:
        asked = Asked(request, car.currency)
        context |= _planned(tx, car_id, asked)
    except CannotSay as trouble:
        context["missing"] = trouble.message
    except BadEntry as bad:
        context["missing"], error = bad.message, error or bad
    response = page(
        request,
        "viewing/viewing.html",
        tx=tx,
        car_id=car_id,
        chapter="viewing",
        form=form,
        error=error,
        **context,
    )
    if error is not None:
        response.status_code = 422
    return response


def _plan(tx: Connection, car_id: int, asked: Asked) -> CarPlan:
    return actions.plan_of(
        tx,
        car_id,
        price_minor=None if asked.price is None else asked.price.minor,
        minutes=asked.minutes,
        kept=asked.checks,
        without=asked.without,
    )


def _planned(tx: Connection, car_id: int, asked: Asked) -> dict[str, Any]:
    made = _plan(tx, car_id, asked)
    network = network_for(tx, get_car(tx, car_id))
    currency = made.price.currency

    def title(check_id: str) -> str:
        return " / ".join(network.finding[finding].name for finding in made.checks[check_id].findings)

    def text(amount: float) -> str:
        return Money(round(amount), currency).text()

    check = made.check
    answers = made.plan.plan.viewing.outcomes(check) if check else ()
    return {
        "made": made,
        "next_title": title(made.step) if check else "",
        "answers": [(outcome, answer_words(network, check, outcome)) for outcome in answers] if check else [],
        "worths": [
            (title(w.name), text(w.gross), text(w.cost), text(w.net) if w.allowed else w.why_not)
            for w in made.plan.worths
        ],
        "query": asked.query,
    }


def _home(request: Request) -> Path:
    """Folder of the record."""
    home: Path = request.app.state.store.home
    return home


def _back(request: Request, car_id: int) -> str:
    """The chapter with the same question as before."""
    return f"/cars/{car_id}/viewing" + (f"?{request.url.query}" if request.url.query else "")


@router.get("/cars/{car_id}/viewing/sheet.html")
def sheet(request: Request, car_id: int) -> Response:
    """The viewing sheet, as a file to keep."""
    with reading(request) as tx:
        made = _plan(tx, car_id, Asked(request, get_car(tx, car_id).currency))
        text = actions.sheet_of(tx, car_id, at=now(request), made=made)
    return Response(
        text,
        media_type="text/html; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="viewing-{car_id}.html"'},
    )


@router.post("/cars/{car_id}/viewing/found")
def found(request: Request, car_id: int, form: PostedForm) -> Response:
    """Record the result of one check on this page."""

    def do(tx: Connection) -> Undo | None:
        recorded = actions.record_check(
            tx,
            car_id,
            form.text("check", longest=100),
            form.text("outcome", longest=400),
            at=now(request),
            note=form.text("note", required=False, longest=2000),
        )
        if recorded != 1:
            return None
        newest = findings_of(tx, car_id)[-1]
        what = network_for(tx, get_car(tx, car_id)).finding[newest.finding].name
        return Undo(
            f"/cars/{car_id}/faults/take-back",
            {"row": str(newest.id), "version": str(newest.version)},
            f"Recorded: {what}: {newest.outcome}.",
        )

    return submit(
        request,
        do,
        then=_back(request, car_id),
        again=lambda tx, error: _viewing_page(request, tx, car_id, form, error),
        undo=lambda recorded: recorded,
    )


@router.post("/cars/{car_id}/viewing/record")
def hand_back(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take over what the sheet kept."""

    def do(tx: Connection) -> int:
        upload = form.file("record")
        text = form.text("text", required=False, longest=1_000_000)
        if upload is None and not text:
            raise BadEntry(
                "No record was handed in. Choose the file that the sheet saved, or paste its text.",
                field="record",
            )
        content: bytes | str = upload.data if upload is not None and upload.data else text
        return actions.hand_back(tx, car_id, read_record(content), home=_home(request), at=now(request))

    return submit(
        request,
        do,
        then=_back(request, car_id),
        again=lambda tx, error: _viewing_page(request, tx, car_id, form, error),
    )


@router.get("/cars/{car_id}/viewing/photo/{digest}")
def photo(request: Request, car_id: int, digest: str) -> Response:
    """One photo that came home from a viewing."""
    with reading(request) as tx:
        data, kind = actions.photo_of(tx, car_id, digest, home=_home(request))
    return Response(data, media_type=kind)


@api.get("/cars/{car_id}/viewing")
def plan_json(request: Request, car_id: int) -> Response:
    """Next check, reasons, worth of each check, policy."""
    with reading(request) as tx:
        made = _plan(tx, car_id, Asked(request, get_car(tx, car_id).currency))
    return JSONResponse(plan_as_data(made))


@api.post("/decide")
async def decide_json(request: Request) -> Response:
    """Decide a case of one's own: a ``driveout-decision/1`` or ``driveout-viewing/1`` document."""
    body = await request.body()
    if schema_of(body, "request body") == VIEWING:
        case = read_viewing(body, "request body")
        return JSONResponse(viewing_as_data(case, case.asking))
    problem, found_already = read_problem(body, "request body")
    return JSONResponse(decision_as_data(decide(problem, found_already), problem.asking))
