"""The chapter Repairs: what may be needed, what pays, what was chosen."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import Response
from sqlalchemy import Connection

from driveout.cars.actions import get_car
from driveout.errors import CannotSay, DriveoutError
from driveout.faults.actions import knowledge_of
from driveout.repairs import actions
from driveout.repairs.actions import Proposal
from driveout.repairs.choice_file import answer_of, read_choice
from driveout.repairs.choose import Choice
from driveout.units import Money
from driveout.web import Chapter, Form, PostedForm, now, page, reading, submit
from driveout.workshop import caution

router = APIRouter()
api = APIRouter(prefix="/api")
CHAPTERS = (Chapter("repairs", "Repairs", order=40),)


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
    """Draw the chapter."""
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


@api.post("/choose")
def choose_own(question: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Choose among your own repairs: a ``driveout-repair-choice/1`` document as JSON."""
    return answer_of(read_choice(json.dumps(question), "question"))
