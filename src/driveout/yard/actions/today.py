"""Today's list over all cars, gathered from everything that is recorded."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from functools import partial

from driveout.cars import Car
from driveout.cars.actions import list_cars
from driveout.hunt.order import look_index, prize
from driveout.hunt.weigh import SPEED_KM_PER_HOUR, VIEWING_HOURS, VIEWING_SHOWS
from driveout.lessons.actions import closed_at, result_of
from driveout.money.actions import cores_open
from driveout.outlook.actions import newest_point, plan_of
from driveout.parts import Part
from driveout.parts.actions import offers_of, parts_to_do
from driveout.repairs.actions import chosen_plan, free_hours, local
from driveout.repairs.catalogue import PartChoice, Repair
from driveout.rules import Rules
from driveout.rules.actions import rules_of
from driveout.selling.actions import latest_plan, log_of
from driveout.store import Tx, remembered
from driveout.units import Money, minor_digits
from driveout.workshop.actions import JobWork, every_work
from driveout.yard.actions.rows import held_of, next_for
from driveout.yard.job import DAYLIGHT, HELPER, RENTAL, Reason
from driveout.yard.steps import (
    CarNow,
    Chain,
    Line,
    OfferToDo,
    PartToDo,
    VisitToDo,
    capital_per_day,
    jobs_of,
)
from driveout.yard.today import Hours, Today, today_list

#: adverts looked at for a visit, best first; more are seen on their own page
MOST_VISITS = 3
#: closed cars from which a bay's day has a price of its own, and how many of the newest count
LEAST_CLOSED, MOST_CLOSED = 3, 8
_SPREAD = 2 * 1.2815515655446004  # from P10 to P90 of a normal, in standard deviations


@dataclass(frozen=True)
class TodayList:
    """The list with what it was made from.

    Parameters
    ----------
    today
        The list.
    cars
        Cars as they stand, by number.
    pace
        Typical actual over estimated hours of the person, by which spanner work is stretched.
    pace_jobs
        Finished jobs behind it.
    hours_per_day
        Own hours a day by the rules. [h/day]
    """

    today: Today
    cars: Mapping[int, CarNow]
    pace: float
    pace_jobs: int
    hours_per_day: float

    def text(self, reason: Reason, car_id: int) -> str:
        """Money of a reason as text."""
        return Money(round(reason.minor), self.cars[car_id].currency).text()


def list_for_today(tx: Tx, hours: Hours, *, at: datetime, currency: str = "USD") -> TodayList:
    """The best list for the hours at hand over all cars.

    Parameters
    ----------
    tx
        Open transaction.
    hours
        The time at hand.
    at
        Present moment.
    currency
        Cars in this currency are counted; amounts are never converted unasked.

    Returns
    -------
    TodayList
        What to do in order, what stays, and from what it was made.
    """
    rules = rules_of(tx, currency).rules
    pace, behind = own_pace(tx)
    day = local(at).date()
    cars = [_stretched(car, pace) for car in cars_now(tx, at=at, currency=currency)]
    found = today_list(jobs_of(cars, rules.hours_per_day, day), hours)
    return TodayList(found, {car.car_id: car for car in cars}, pace, behind, rules.hours_per_day)


def own_pace(tx: Tx) -> tuple[float, int]:
    """Typical actual over estimated hours of work of a kind not named, and the jobs behind it."""
    bias = plan_of(tx).hours
    return (1.0, 0) if bias is None else (math.exp(bias.forecast("").log_mean), bias.jobs)


def _stretched(car: CarNow, pace: float) -> CarNow:
    return replace(
        car,
        hours_left=car.hours_left * pace,
        chains=tuple(
            replace(
                chain,
                lines=tuple(replace(line, minutes=min(line.minutes * pace, 1440.0)) for line in chain.lines),
            )
            for chain in car.chains
        ),
    )


def bay_rate(tx: Tx, currency: str, wage: float) -> float:
    """What a day of a bay has brought over the person's newest closed cars, the wage taken off.

    Total gain over total days, as over many cars it must be; 0 below three closed cars or when
    they brought less than the wage. [minor units/day]
    """
    gains = days = 0.0
    closed = [car for car in list_cars(tx) if car.stage == "sold" and car.currency == currency]
    counted = 0
    for car in closed[::-1]:
        if counted == MOST_CLOSED or closed_at(tx, car.id) is None:
            continue
        result = result_of(tx, car.id)
        gains += result.profit.minor - wage * result.hours
        days += result.earnings.days
        counted += 1
    return max(gains / days, 0.0) if counted >= LEAST_CLOSED and days > 0 else 0.0


def cars_now(tx: Tx, *, at: datetime, currency: str = "USD") -> list[CarNow]:
    """Every car that is not finished, with what could be done about it today."""
    rules = rules_of(tx, currency).rules
    bay = bay_rate(tx, currency, rules.wage_per_hour)
    day = local(at).date()
    found, adverts = list[CarNow](), list[CarNow]()
    for car in list_cars(tx):
        step = next_for(tx, car) if car.stage != "let go" else None
        if car.currency != currency or step is None or (car.stage == "sold" and step.order > 2):
            continue
        plain = CarNow(car.id, car.name, car.stage, car.currency, step)
        if car.stage in ("advert", "viewing"):
            visit = _visit(tx, car, rules)
            adverts.append(replace(plain, visit=visit))
        elif car.stage == "sold":
            parts = remembered(
                tx, ("parts today", car.id), partial(_parts, tx, car, (), day), car=car.id, given=day
            )
            found.append(replace(plain, parts=tuple(parts)))
        else:
            build = partial(_in_hand, tx, car, plain, rules, day)
            now = remembered(
                tx, ("in hand today", car.id), build, tables=("rules_own",), car=car.id, given=day
            )
            if step.gives_up:
                # no hour goes into a car that is better given up; its next step is to decide that
                now = replace(now, chains=(), parts=(), hours_left=0.0)
            found.append(replace(now, bay_per_day=bay))
    adverts.sort(key=lambda one: -(one.visit.worth if one.visit else 0.0))
    return found + adverts[:MOST_VISITS]


def _visit(tx: Tx, car: Car, rules: Rules) -> VisitToDo | None:
    """Worth of going, from the outlook as it was last renewed; the wage taken off."""
    point = newest_point(tx, car.id)
    if point is None or point.profit_p10_minor is None or point.profit_p90_minor is None:
        return None
    way_km = 2.0 * float(car.facts.get("distance_km") or 0.0)
    hours = VIEWING_HOURS + way_km / SPEED_KM_PER_HOUR
    mean = float(point.profit_mean_minor or 0) - float(point.wage_mark_minor or 0)
    spread = VIEWING_SHOWS * (point.profit_p90_minor - point.profit_p10_minor) / _SPREAD
    cost = way_km * rules.trip_per_km + hours * rules.wage_per_hour
    return VisitToDo(look_index(*prize(mean, spread), cost), hours)


def _in_hand(tx: Tx, car: Car, plain: CarNow, rules: Rules, day: date) -> CarNow:
    works = every_work(tx, car.id)
    chosen = [
        (repair, part) for row, repair, part in chosen_plan(tx, car.id).repairs if row.state == "chosen"
    ]
    hours = free_hours(tx, car.id)
    parts = parts_to_do(tx, car.id, day)
    coming = _coming(tx, car.id)
    rented = frozenset(hours.rented) if hours else frozenset[str]()
    wanted = {repair.assembly for repair, _ in chosen}
    if car.stage == "for sale":
        # What is left of a job whose repairs are done holds up no sale.
        works = [work for work in works if work.job.assembly in wanted]
    chains = [_chain(car.id, work, chosen, coming, rented) for work in works]
    under_way = {work.job.assembly for work in works}
    chains += [
        _whole(car.id, repair, part, coming)
        for repair, part in chosen
        if part.kind == "outside" or repair.assembly not in under_way
    ]
    chains = [chain for chain in chains if chain.lines]
    spent = held_of(tx, car).money
    plan = latest_plan(tx, car.id)
    offers = [offer for offer in log_of(tx, car.id)[2] if not offer.answer]
    return replace(
        plain,
        holding_per_day=rules.holding_per_day,
        capital_per_day=capital_per_day(float(spent.minor), rules.capital_share_per_year),
        hours_left=sum(line.minutes for chain in chains for line in chain.lines) / 60.0,
        chains=tuple(chains),
        parts=tuple(_parts(tx, car, chosen, day)) if parts else (),
        offers=tuple(
            OfferToDo(
                str(offer.id),
                offer.buyer,
                float(offer.amount.minor),
                float(offer.amount.minor)
                - _minor(offer.advice.get("take_it"), car.currency, offer.amount.minor),
            )
            for offer in offers
        ),
        price_step=_price_step(tx, car, plan.plan, plan.at, day) if plan is not None else None,
    )


def _minor(amount: object, currency: str, otherwise: int) -> float:
    return otherwise if amount is None else float(Decimal(str(amount)) * 10 ** minor_digits(currency))


def _price_step(
    tx: Tx, car: Car, plan: Mapping[str, object], made: datetime, day: date
) -> tuple[float, float] | None:
    """The price that the plan steps to by today, when the advert still asks more."""
    asks = log_of(tx, car.id)[0]
    steps = plan.get("steps")
    if car.stage != "for sale" or not asks or not isinstance(steps, list):
        return None
    gone = (day - made.date()).days
    due = [step for step in steps if float(step["from_day"]) <= gone]
    if not due:
        return None
    planned = _minor(due[-1]["ask"], car.currency, 0)
    if planned >= asks[-1].ask.minor:
        return None
    return planned, _minor(plan.get("waiting_per_day"), car.currency, 0)


def _coming(tx: Tx, car_id: int) -> dict[str, str]:
    """Parts that are not here yet, by the key of their repair, in words."""
    from driveout.parts.actions import parts_of

    return {
        part.line.key: f"{part.line.what} ({'expected ' + part.expected_on.isoformat() if part.expected_on else part.state})"
        for part in parts_of(tx, car_id)
        if part.state in ("needed", "ordered")
    }


def _chain(
    car_id: int,
    work: JobWork,
    chosen: Sequence[tuple[Repair, PartChoice]],
    coming: Mapping[str, str],
    rented: frozenset[str],
) -> Chain:
    """Tasks of a job that are not done, with what each needs."""
    steps, assembly = work.plan.assembly.steps, work.job.assembly
    mine = [repair for repair, _ in chosen if repair.assembly == assembly]
    fitted_at = {f"repair:{target}": coming[r.id] for r in mine for target in r.targets if r.id in coming}
    lifted = any(rented & set(repair.tools) for repair in mine)
    lines: list[Line] = []
    for task in work.plan.tasks:
        if work.work.is_finished(task):
            continue
        if task.kind == "wait":
            if lines:
                lines[-1] = replace(lines[-1], wait_hours=lines[-1].wait_hours + task.minutes / 60.0)
            continue
        step = steps.get(task.item)
        needs = {HELPER} if task.needs_helper else set()
        if step is not None and step.when == "road_test":
            needs.add(DAYLIGHT)
        if lifted and step is not None and step.lifts:
            needs.add(RENTAL)
        lines.append(Line(task.text, task.minutes, frozenset(needs), fitted_at.get(task.id, "")))
    return Chain(f"job{work.job.id}", _title(work), f"/cars/{car_id}/work/{work.job.id}/bench", tuple(lines))


def _title(work: JobWork) -> str:
    return work.plan.assembly.name


def _whole(car_id: int, repair: Repair, part: PartChoice, coming: Mapping[str, str]) -> Chain:
    """A repair without a strip plan: its hours in pieces of an hour, then what has to wait."""
    link = f"/cars/{car_id}/repairs"
    if part.kind == "outside":
        away = 24.0 * part.lead_days.likely
        return Chain(
            repair.id, repair.name, link, (Line("take it to the workshop outside", 45.0, wait_hours=away),)
        )
    minutes = 60.0 * repair.hours.likely * part.hours_share
    needs = frozenset({HELPER}) if repair.helper == "needed" else frozenset[str]()
    pieces = max(math.ceil(minutes / 60.0), 1)
    wait = 24.0 * sum(one.days.likely for one in repair.waits)
    lines = [
        Line(
            f"hour {n} of {pieces}" if pieces > 1 else "all of it",
            minutes / pieces,
            needs,
            coming.get(repair.id, "") if n == 1 else "",
            wait if n == pieces else 0.0,
        )
        for n in range(1, pieces + 1)
    ]
    return Chain(repair.id, repair.name, link, tuple(lines))


def _parts(tx: Tx, car: Car, chosen: Sequence[tuple[Repair, PartChoice]], day: date) -> Sequence[PartToDo]:
    todo = parts_to_do(tx, car.id, day)
    offers = offers_of(tx, [one.part for one in todo])
    behind = {repair.id: repair.hours.likely for repair, _ in chosen}
    usual = {repair.id: part.lead_days.likely for repair, part in chosen}
    cores = {core.receipt.number: core.owed for core in cores_open(tx, car.id)}
    found: list[PartToDo] = []
    for number, one in enumerate(todo):
        part, words = one.part, one.words
        kind = _kind(part, words)
        known = offers.get(part.id, [])
        lead = min((offer.lead_days for offer in known), default=usual.get(part.line.key, 3.0))
        amount = 0.0
        if kind == "core" and part.receipt in cores:
            amount = float(cores[part.receipt].minor)
        elif kind in ("try", "return") and part.offer is not None and part.return_by is not None:
            amount = float(part.offer.price.minor)
        found.append(
            PartToDo(
                f"{part.id}:{number}",
                words,
                kind,
                24.0 * lead if kind == "order" else 24.0 if kind == "ask" else 0.0,
                behind.get(part.line.key, 0.0),
                one.by or part.return_by,
                amount,
            )
        )
    return found


def _kind(part: Part, words: str) -> str:
    if part.state == "needed":
        return "order"
    if part.state == "ordered":
        return "ask"
    if words.startswith("Hand in"):
        return "core"
    return "return" if words.startswith("Give") else "try"
