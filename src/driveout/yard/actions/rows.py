"""What each car needs next, read from everything recorded about it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from driveout.cars import Car
from driveout.cars.actions import list_cars
from driveout.faults.actions import findings_of
from driveout.lessons.actions import closed_at
from driveout.market.actions import comparables_of
from driveout.money import car_part
from driveout.money.actions import car_entries, cores_open
from driveout.money.car_cost import cost_of_car
from driveout.outlook.actions import best_ending, newest_point
from driveout.outlook.endings import GO_ON
from driveout.repairs.actions import decisions_of
from driveout.selling.actions import latest_plan, log_of
from driveout.store import Tx, remembered
from driveout.units import Money
from driveout.workshop.actions import every_work
from driveout.yard.next_step import Situation, Step, next_step
from driveout.yard.verdict import word_for

FINISHED = ("sold", "let go")


@dataclass(frozen=True)
class YardRow:
    """One car of the yard: what it needs next, and the money and days in it."""

    car: Car
    step: Step
    held: Money | None
    days: int | None


def situation_of(tx: Tx, car: Car) -> Situation:
    """Everything that decides a car's next step."""
    point = newest_point(tx, car.id)
    asking = car.facts.get("asking_minor")
    if car.stage in ("advert", "viewing"):
        checks = [found for found in findings_of(tx, car.id) if found.origin not in ("advert",)]
        ceiling = point.ceiling_minor if point else None
        return Situation(
            car.id,
            car.stage,
            asking=None if asking is None else Money(int(asking), car.currency),
            ceiling=None if ceiling is None else Money(ceiling, car.currency),
            missing=point.missing if point and point.profit_p50_minor is None else "",
            checks_done=len(checks),
        )
    works = every_work(tx, car.id) if car.stage in ("bought", "in work") else []
    decisions = decisions_of(tx, car.id) if car.stage in ("bought", "in work") else []
    offers = log_of(tx, car.id)[2] if car.stage in ("in work", "for sale") else ()
    return Situation(
        car.id,
        car.stage,
        repairs_chosen=sum(decision.state in ("chosen", "done") for decision in decisions),
        links_open=sum(len(work.work.progress.undone - work.work.progress.back) for work in works),
        steps_left=sum(len(work.plan.tasks) - work.work.finished_count for work in works),
        cores_open=len(cores_open(tx, car.id)) if car.stage != "let go" else 0,
        comparables=len(comparables_of(tx, car.id)) if car.stage in ("bought", "in work") else 0,
        planned=latest_plan(tx, car.id) is not None,
        offers_open=sum(not offer.answer for offer in offers),
        closed=car.stage == "sold" and closed_at(tx, car.id) is not None,
    )


def _ending(tx: Tx, car: Car) -> tuple[str, str]:
    """What to do instead of going on with a car, and why; nothing when going on brings most."""
    found = best_ending(tx, car.id)
    if found is None or found.key == GO_ON:
        return "", ""
    worth, going_on = (Money(round(minor), car.currency).text() for minor in (found.worth, found.going_on))
    because = f"it still brings {worth} after your wage, going on {going_on}"
    return word_for(found.key, found.label), because


def next_for(tx: Tx, car: Car) -> Step:
    """The one thing that a car needs from the person next."""
    now = remembered(tx, ("situation", car.id), lambda: situation_of(tx, car), car=car.id)
    if car.stage in ("bought", "in work"):
        ending, because = _ending(tx, car)
        now = replace(now, ending=ending, ending_because=because)
    return next_step(now)


def rows_of_the_yard(tx: Tx, *, finished: bool, today: date) -> list[YardRow]:
    """Cars in the order of what needs the person next.

    Parameters
    ----------
    tx
        Open transaction.
    finished
        True for the sold ones and those let go, False for all others. A sold car whose books
        are open still counts as not finished.
    today
        Present day, for the days that money is tied up.

    Returns
    -------
    list of YardRow
        One row per car, most urgent first, then newest first.
    """
    rows = []
    for car in list_cars(tx):
        step = next_for(tx, car)
        is_over = car.stage in FINISHED and step.order > 2
        if is_over == finished:
            rows.append(_row(tx, car, step, today))
    return sorted(rows, key=lambda row: (row.step.order, -row.car.id))


def _row(tx: Tx, car: Car, step: Step, today: date) -> YardRow:
    if car.stage in ("advert", "viewing", *FINISHED):
        return YardRow(car, step, None, None)
    held = held_of(tx, car)
    return YardRow(car, step, held.money, None if held.since is None else (today - held.since).days)


@dataclass(frozen=True)
class Held:
    """What a car carries: money in it, own hours booked, the day of its first entry."""

    money: Money
    hours: float
    since: date | None


def held_of(tx: Tx, car: Car) -> Held:
    """Money and own hours that are in a car, and since when."""
    return remembered(tx, ("held", car.id), lambda: _held(tx, car), car=car.id)


def _held(tx: Tx, car: Car) -> Held:
    entries = car_entries(tx, car.id)
    cost = cost_of_car(entries, car_part(car.id), car.currency)
    return Held(cost.work_in_progress, cost.hours, entries[0].day if entries else None)
