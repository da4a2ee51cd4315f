"""The page Today: hours at hand typed or tapped, the best list over all cars drawn."""

from __future__ import annotations

from datetime import datetime, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response

from driveout.errors import BadEntry, DriveoutError
from driveout.repairs.actions import local
from driveout.units import Money
from driveout.web import Form, Tx, now, page, reading
from driveout.yard import actions
from driveout.yard.job import Job
from driveout.yard.pages.currency import yard_currency
from driveout.yard.today import Hours

router = APIRouter()
#: hours that can be tapped instead of typed
TAPS = (1, 2, 3, 4, 6, 8)
_LEFT_SHOWN = 8


@router.get("/today")
def today(request: Request) -> Response:
    """Today: the best use of the hours at hand, over all cars."""
    form = Form({name: value[:60] for name, value in request.query_params.items()})
    with reading(request) as tx:
        return _today_page(request, tx, form)


def _today_page(request: Request, tx: Tx, form: Form) -> Response:
    at = now(request)
    error: DriveoutError | None = None
    made = None
    if form.raw.get("hours", "").strip():
        try:
            hours = _hours(form, local(at))
            made = actions.list_for_today(tx, hours, at=at, currency=yard_currency(tx))
        except BadEntry as refused:
            error = refused
    left = () if made is None else made.today.left
    return page(
        request,
        "yard/today.html",
        form=form,
        error=error,
        status=200 if error is None else 422,
        made=made,
        total="" if made is None else _money(made, made.today.worth),
        worth={} if made is None else {one.job.key: _worth(made, one.job) for one in made.today.placed},
        begins={} if made is None else _clock(made, local(at)),
        left=[one for one in left if "comes after" not in one.why][:_LEFT_SHOWN],
        left_count=len(left),
        taps=TAPS,
        clock=local(at),
    )


def _money(made: actions.TodayList, minor: float) -> str:
    currency = next((car.currency for car in made.cars.values()), "USD")
    return Money(round(minor), currency).text()


def _worth(made: actions.TodayList, job: Job) -> str:
    if job.worth <= 0:
        return job.reasons[0].words if job.reasons else "it moves no money"
    return f"{_money(made, job.worth)}, {_money(made, job.worth_per_hour)} for each own hour"


def _clock(made: actions.TodayList, start: datetime) -> dict[str, str]:
    return {
        one.job.key: f"{start + timedelta(minutes=one.begins):%H:%M} to {start + timedelta(minutes=one.ends):%H:%M}"
        for one in made.today.placed
    }


def _hours(form: Form, start: datetime) -> Hours:
    own = form.number("hours", unit="h", least=0, most=24)
    minutes = 60.0 * float(own or 0)
    helper = form.number("helper_hours", unit="h", least=0, most=24, required=False)
    return Hours(
        minutes,
        daylight=_until(form, "daylight", start),
        helper=60.0 * float(helper or 0),
        rental=_until(form, "rental", start),
    )


def _until(form: Form, name: str, start: datetime) -> float:
    """Minutes from now until a time of day; 0 when it is over or nothing was typed."""
    typed = form.text(name, required=False, longest=5)
    if not typed:
        return 0.0
    try:
        when = datetime.strptime(typed, "%H:%M")  # noqa: DTZ007  a time of day on the wall
    except ValueError as bad:
        raise BadEntry(
            f"{typed!r} is not a time of day.", field=name, value=typed, allowed="such as 19:30"
        ) from bad
    minutes = (when.hour - start.hour) * 60.0 + when.minute - start.minute
    return max(minutes, 0.0)
