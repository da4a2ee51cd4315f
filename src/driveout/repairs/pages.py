"""The chapter Repairs: what may be needed, what pays, what was chosen."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from sqlalchemy import Connection

from driveout.cars.actions import get_car
from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.faults.actions import knowledge_of
from driveout.repairs import actions
from driveout.repairs.actions import Proposal
from driveout.repairs.choice_file import answer_of, read_choice
from driveout.repairs.choose import Choice
from driveout.repairs.days import FreeHours, session_words, typed_stretches
from driveout.units import Money
from driveout.web import Chapter, Form, PostedForm, Undo, now, page, reading, submit, taste_for
from driveout.workshop import caution
from driveout.workshop.calendar import WEEKDAYS
from driveout.workshop.finish import Finish
from driveout.workshop.plan_file import plan_answer, read_plan
from driveout.workshop.schedule import Schedule, worked_minutes
from driveout.workshop.schedule_shown import chart, ics

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("repairs", "Repairs", order=40), Chapter("plan", "Plan of days", order=47))
PAGE_RUNS = 2_000
"""Runs of the chances on the page; the command takes more."""
PAGE_SECONDS = 1.0
"""Longest time of the exact solver while somebody waits for the page."""


@dataclass(frozen=True)
class KindRow:
    """One kind of part of a proposed repair, ready for reading."""

    kind: str
    money: Money
    lead_days: float
    core: Money | None
    note: str


@router.get("/cars/{car_id}/repairs")
def show(request: Request, car_id: int) -> Response:
    """Which repairs pay, and which are chosen."""
    with reading(request) as tx:
        return _page(request, tx, car_id)


@router.post("/cars/{car_id}/repairs/choose")
def choose(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a repair into the plan."""
    return submit(
        request,
        lambda tx: actions.choose_repair(tx, car_id, form.text("repair"), form.text("kind"), at=now(request)),
        then=f"/cars/{car_id}/repairs",
        again=lambda tx, error: _page(request, tx, car_id, form, error),
        undo=lambda chosen: Undo(
            f"/cars/{car_id}/repairs/undo",
            {"repair": chosen.repair, "version": str(chosen.version)},
            "Taken into the plan.",
        ),
    )


@router.post("/cars/{car_id}/repairs/undo")
def undo(request: Request, car_id: int, form: PostedForm) -> Response:
    """Take a repair out of the plan."""
    return submit(
        request,
        lambda tx: actions.drop_repair(
            tx,
            car_id,
            form.text("repair"),
            note=form.text("note", required=False),
            version=form.whole("version", least=1, required=False),
            at=now(request),
        ),
        then=f"/cars/{car_id}/repairs",
        again=lambda tx, error: _page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/repairs/done")
def done(request: Request, car_id: int, form: PostedForm) -> Response:
    """Call a repair done."""
    return submit(
        request,
        lambda tx: actions.finish_repair(
            tx,
            car_id,
            form.text("repair"),
            was_it=form.text("was_it", required=False),
            version=form.whole("version", least=1, required=False),
            at=now(request),
        ),
        then=f"/cars/{car_id}/repairs",
        again=lambda tx, error: _page(request, tx, car_id, form, error),
    )


@router.post("/cars/{car_id}/repairs/means")
def means(request: Request, car_id: int, form: PostedForm) -> Response:
    """Say what an hour is worth and what there is to spend."""

    def save(tx: Connection) -> Any:
        currency = get_car(tx, car_id).currency
        return actions.set_means(
            tx,
            car_id,
            wage=form.money("wage", currency),
            value=form.money("value", currency) if form.text("value", required=False) else None,
            budget=form.money("budget", currency) if form.text("budget", required=False) else None,
            hours=form.number("hours", "h", least=0, most=5000, required=False),
            version=form.whole("version", least=1, required=False),
            at=now(request),
        )

    return submit(
        request,
        save,
        then=f"/cars/{car_id}/repairs",
        again=lambda tx, error: _page(request, tx, car_id, form, error),
    )


def _page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    car = get_car(tx, car_id)
    held = actions.catalogue_of(car)
    plan = actions.chosen_plan(tx, car_id)
    choice, silent = _suggestion(tx, car_id)
    pack = knowledge_of(tx)
    chosen = {row.repair for row, _, _ in plan.repairs}
    rows = [(row, _kinds(row, held.currency)) for row in actions.proposals(tx, car_id)]
    return page(
        request,
        "repairs/repairs.html",
        tx=tx,
        car_id=car_id,
        chapter="repairs",
        form=form,
        error=error,
        car=car,
        currency=held.currency,
        basis=held.basis,
        likely=[
            row for row in rows if row[0].repair.id not in chosen and row[0].chance >= actions.SURE_ENOUGH
        ],
        unsure=[
            row for row in rows if row[0].repair.id not in chosen and row[0].chance < actions.SURE_ENOUGH
        ],
        every=sorted(held.repairs.values(), key=lambda repair: repair.name),
        plan=plan,
        caution=caution,
        answers={repair.id: actions.was_it_answers(pack, repair) for _, repair, _ in plan.repairs},
        plan_money=Money(plan.money, held.currency),
        access_names=[held.access[name].name for name in plan.access],
        choice=choice,
        silent=silent,
        option_names=actions.option_names(tx, car_id),
        also=[one for one in actions.also_worth_it(tx, car_id, plan.access)],
        means=actions.means_of(tx, car),
        money=lambda minor: Money(round(minor), held.currency),
        own_money=lambda minor: Money(round(minor), car.currency),
    )


def _suggestion(tx: Connection, car_id: int) -> tuple[Choice | None, str]:
    try:
        return actions.suggestion(tx, car_id), ""
    except CannotSay as error:
        return None, error.message


def _kinds(proposal: Proposal, currency: str) -> list[KindRow]:
    return [
        KindRow(
            kind,
            Money(round(part.money.likely), currency),
            part.lead_days.likely,
            Money(round(part.core_deposit.likely), currency) if part.core_deposit else None,
            part.note,
        )
        for kind, part in proposal.repair.choices.items()
    ]


@router.get("/cars/{car_id}/plan")
def show_days(request: Request, car_id: int) -> Response:
    """The work laid on your free hours, and when it is likely to be done."""
    with reading(request) as tx:
        return _days_page(request, tx, car_id)


@router.get("/cars/{car_id}/plan/days.ics")
def calendar_file(request: Request, car_id: int) -> Response:
    """The plan of days for the person's calendar."""
    with reading(request) as tx:
        schedule, _ = actions.days_of(tx, car_id, at=now(request), seconds=PAGE_SECONDS, runs=PAGE_RUNS)
    name = {"Content-Disposition": f'attachment; filename="plan-{car_id}.ics"'}
    return Response(ics(schedule, now(request)), media_type="text/calendar", headers=name)


@router.post("/cars/{car_id}/plan/hours")
def free_hours(request: Request, car_id: int, form: PostedForm) -> Response:
    """Keep the free hours and plan the days anew."""

    def keep(tx: Connection) -> Any:
        hours = FreeHours(
            week={
                day: rows
                for day in WEEKDAYS
                if (rows := typed_stretches(f"me_{day}", form.text(f"me_{day}", required=False)))
            },
            helper=_helper_hours(form.text("helper", required=False, longest=4000)),
            daylight=", ".join(typed_stretches("daylight", form.text("daylight", required=False))[:1]),
            off=tuple(_days_typed("off", form.text("off", required=False, longest=2000))),
            days=form.whole("days", least=1, most=400) or 90,
            rented=tuple(
                key.removeprefix("rented_")
                for key in form.raw
                if key.startswith("rented_") and form.ticked(key)
            ),
        )
        if not hours.week:
            raise BadEntry(
                "No free hours were typed. Type at least one stretch.",
                field="me_monday",
                allowed="18:00-21:00",
            )
        kept = actions.set_free_hours(tx, car_id, hours, at=now(request))
        actions.keep_pace(tx, car_id, at=now(request), seconds=PAGE_SECONDS, runs=PAGE_RUNS)
        return kept

    return submit(
        request,
        keep,
        then=f"/cars/{car_id}/plan",
        again=lambda tx, error: _days_page(request, tx, car_id, form, error),
    )


def _helper_hours(words: str) -> dict[str, list[str]]:
    """Lines of a day, or a weekday, and its stretches."""
    found: dict[str, list[str]] = {}
    for line in words.splitlines():
        if not line.strip():
            continue
        day, _, rest = line.strip().partition(" ")
        name = day.lower().rstrip(":,")
        if name not in WEEKDAYS:
            name = _days_typed("helper", name)[0]
        found.setdefault(name, []).extend(typed_stretches("helper", rest))
    return found


def _days_typed(field: str, words: str) -> list[str]:
    days = []
    for part in words.replace(",", " ").split():
        try:
            days.append(date.fromisoformat(part).isoformat())
        except ValueError as error:
            raise BadEntry(
                f"{part!r} is neither a weekday nor a day such as 2026-05-09.",
                field=field,
                value=part,
                allowed="saturday or 2026-05-09",
            ) from error
    return days


def _days_page(
    request: Request,
    tx: Connection,
    car_id: int,
    form: Form | None = None,
    error: DriveoutError | None = None,
) -> Response:
    hours = actions.free_hours(tx, car_id)
    schedule, chances, silent = None, None, ""
    try:
        schedule, chances = actions.days_of(tx, car_id, at=now(request), seconds=PAGE_SECONDS, runs=PAGE_RUNS)
    except CannotSay as missing:
        silent = missing.message
    return page(
        request,
        "repairs/days.html",
        tx=tx,
        car_id=car_id,
        chapter="plan",
        form=form,
        error=error,
        schedule=schedule,
        chances=chances,
        silent=silent,
        session=session_words,
        runs=PAGE_RUNS,
        hangs=_hangs(schedule, chances),
        worked=worked_minutes(schedule) if schedule else 0.0,
        open_done=len(schedule.plan.done) if schedule else 0,
        picture=chart(schedule) if schedule else "",
        hours=hours,
        helper_words="\n".join(f"{day} {', '.join(rows)}" for day, rows in hours.helper.items())
        if hours
        else "",
        weekdays=taste_for(request).week(WEEKDAYS),
        tools=actions.tools_to_rent(tx, car_id),
    )


def _hangs(schedule: Schedule | None, chances: Finish | None) -> list[tuple[str, float]]:
    """What the finish hangs on most often, in words: only what is not always the case says something."""
    if schedule is None or chances is None:
        return []
    words = {o.id: o.title for o in schedule.plan.operations}
    words |= {part.id: f"arrival of {part.name}" for part in schedule.plan.arrivals}
    rows = [
        (words.get(name, name), share) for name, share in chances.critical.items() if 0.05 < share < 0.995
    ]
    return sorted(rows, key=lambda row: -row[1])[:6]


@api.post("/plan")
async def plan_own(request: Request) -> dict[str, Any]:
    """Plan your own work into days: a ``driveout-plan/1`` document."""
    return plan_answer(read_plan(await request.body(), "request body"), np.random.default_rng(1))


@api.post("/choose")
def choose_own(question: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Choose among your own repairs: a ``driveout-repair-choice/1`` document as JSON."""
    return answer_of(read_choice(json.dumps(question), "question"))
