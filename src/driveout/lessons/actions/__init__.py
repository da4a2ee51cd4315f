"""Freezing an estimate, closing a car, and what the person's history says."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from driveout.cars import Car
from driveout.cars.actions import get_car, list_cars, note_event, numbers_in, trail_of
from driveout.errors import BadEntry, CannotSay, Conflict
from driveout.faults import actions as faults
from driveout.faults.actions import findings_of, network_for
from driveout.lessons import records
from driveout.lessons.bias import HOURS, Job
from driveout.lessons.cash_to_come import CarInHand, Undated, moves_of
from driveout.lessons.estimate import Estimate, EstimateLine
from driveout.lessons.lesson_file import jobs_as_rows, lessons_yaml, read_lessons, taught_from_rows
from driveout.lessons.missed import Noted, ProvedFault, proved_faults
from driveout.lessons.records import Lesson, SharedFile
from driveout.lessons.reply import Says, what_was_learned
from driveout.lessons.variance import Actual, Taught, Variance, actuals, middle, taught, variance
from driveout.money import CarCost, Earnings, Entry, car_part, cash_moves, earnings, standing
from driveout.money import actions as money
from driveout.money.actions import car_entries, cost_so_far
from driveout.money.bookings import work_name
from driveout.money.car_cost import cost_of_car, is_sold
from driveout.money.cash_ahead import CashAhead, Planned, cash_ahead
from driveout.parts.actions import parts_of_cars
from driveout.repairs import catalogue
from driveout.store import Tx, remembered
from driveout.units import Money

CLOSED = "closed"
#: tables that `history` is read from, besides which cars are in hand
HISTORY_TABLES = ("lessons_ratio", "lessons_shared", "lessons_estimate", "money_posting", "money_link")
#: kinds of every estimate that belong to no single repair
STANDING_KINDS = frozenset(
    {
        *("papers", "fetching", "selling", "outside-work", "viewing-trip", "unforeseen", "days"),
        *("parts", "supplies", "fees", "travel", "outside", "clutch", "brakes", "paint", "wiring"),
    }
)
IN_HAND = ("bought", "in work", "for sale")


@dataclass(frozen=True)
class Closing:
    """The result of a finished car.

    Parameters
    ----------
    profit
        Income less every cost.
    hours
        Own time. [h]
    per_hour
        Profit per own hour, None when none was booked.
    earnings
        All return measures in reading order.
    variance
        Reasons that add up to the cent, None when no estimate was frozen.
    taught
        Comparisons that were learned from.
    closed_at
        When, None while open.
    """

    profit: Money
    hours: float
    per_hour: Money | None
    earnings: Earnings
    variance: Variance | None
    taught: tuple[Taught, ...]
    closed_at: datetime.datetime | None


def freeze(
    tx: Tx,
    car_id: int,
    lines: Sequence[EstimateLine],
    at: datetime.datetime,
    *,
    sale_price: Money | None = None,
    selling_fees: Money | None = None,
    wage: Money | None = None,
) -> Estimate:
    """Freeze the estimate of a car at the decision to buy.

    Before the purchase is booked a newer estimate replaces an older one; afterwards the first
    stays, because an estimate mended with later knowledge teaches nothing.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    lines
        Cost and work, the purchase included.
    at
        Present moment.
    sale_price
        Price expected.
    selling_fees
        Fees expected.
    wage
        Worth of an own hour.

    Returns
    -------
    Estimate
        As frozen.

    Raises
    ------
    BadEntry
        If the car was bought under a frozen estimate already.
    """
    car = get_car(tx, car_id)
    nothing = Money(0, car.currency)
    estimate = Estimate(
        car.currency,
        tuple(lines),
        sale_price or nothing,
        selling_fees or nothing,
        wage or nothing,
        at.date(),
    )
    before = records.estimate_of(tx, car_id)
    if before and any(entry.fact("kind") == "purchase" for entry in car_entries(tx, car_id)):
        raise BadEntry(
            f"The estimate of {car.name} was frozen on {before[0].frozen_on} and the car was bought on it. "
            "It stays as it was; what changed shows as a difference.",
            field="estimate",
            value=before[0].frozen_on.isoformat(),
        )
    records.add_estimate(tx, car_id, estimate, at)
    total = Money(sum(line.planned_money(car.currency).minor for line in lines), car.currency)
    note_event(tx, car_id, "estimate", f"Estimate frozen: {total.text()} in {len(lines)} lines", {}, at)
    return estimate


def frozen_estimate(tx: Tx, car_id: int) -> Estimate | None:
    """The estimate a car was bought on, None when none was frozen."""
    found = records.estimate_of(tx, car_id)
    return found[0] if found else None


@dataclass(frozen=True)
class SoFar:
    """A car's booked figures beside its frozen estimate, sold or not."""

    cost: CarCost
    estimate: Estimate | None
    booked: tuple[Actual, ...]
    entries: tuple[Entry, ...] = ()


def so_far(tx: Tx, car_id: int) -> SoFar:
    """Cost so far line by line against the frozen estimate."""
    estimate = frozen_estimate(tx, car_id)
    entries, part = car_entries(tx, car_id), car_part(car_id)
    cost = cost_of_car(entries, part, get_car(tx, car_id).currency)
    return SoFar(cost, estimate, actuals(entries, part, estimate) if estimate else (), entries)


def result_of(tx: Tx, car_id: int) -> Closing:
    """Result of a sold car as the books stand now; CannotSay while it is not sold."""
    return remembered(tx, ("result", car_id), lambda: _result_of(tx, car_id), car=car_id)


def _result_of(tx: Tx, car_id: int) -> Closing:
    car, part = get_car(tx, car_id), car_part(car_id)
    entries = car_entries(tx, car_id)
    if not is_sold(entries, part):
        raise CannotSay(f"{car.name} is not sold yet, so there is nothing to look back on.", missing="sale")
    cost = cost_of_car(entries, part, car.currency)
    estimate = frozen_estimate(tx, car_id)
    booked = actuals(entries, part, estimate) if estimate else ()
    measured = earnings(cost.profit, cash_moves(entries, part, car.currency), cost.minutes)
    return Closing(
        profit=cost.profit,
        hours=cost.hours,
        per_hour=measured.per_own_hour,
        earnings=measured,
        variance=variance(estimate, cost, booked) if estimate else None,
        taught=taught(estimate, booked) if estimate else (),
        closed_at=records.closed_at(tx, car_id),
    )


def closed_at(tx: Tx, car_id: int) -> datetime.datetime | None:
    """When a car was closed, None while it is open; needs no journal."""
    return records.closed_at(tx, car_id)


def close_car(tx: Tx, car_id: int, at: datetime.datetime) -> Closing:
    """Close a sold car: its result is final and its comparisons teach the next estimate.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.

    Returns
    -------
    Closing
        Profit, own hours, variance to the cent, what was learned.

    Raises
    ------
    CannotSay
        If the car is not sold.
    Conflict
        If core deposits are still open, or the car is closed already.
    """
    car = get_car(tx, car_id)
    result = result_of(tx, car_id)
    if result.closed_at:
        raise Conflict(
            f"{car.name} was closed on {result.closed_at:%Y-%m-%d}. Reopen it to change its result."
        )
    owed = cost_so_far(tx, car_id).cores_owed
    if owed.minor:
        raise Conflict(
            f"Core deposits of {owed.text()} are still open. Book their return, or give them up, then close."
        )
    aside = _aside_before(tx, car_id)
    records.set_closing(tx, car_id, True, "", at)
    records.replace_lessons(tx, car_id, result.taught, at, aside)
    words = f"Closed: profit {result.profit.text()}, {result.hours:.1f} own hours"
    note_event(tx, car_id, CLOSED, words, {"profit_minor": result.profit.minor, "hours": result.hours}, at)
    return result_of(tx, car_id)


def _aside_before(tx: Tx, car_id: int) -> set[tuple[str, str]]:
    """What was set aside when the car was last reopened; it stays so."""
    reopened = next((e for e in trail_of(tx, car_id) if e.kind == CLOSED and "aside" in e.data), None)
    return set() if reopened is None else {(measure, kind) for measure, kind in reopened.data["aside"]}


@dataclass(frozen=True)
class EarlierResult:
    """A result that a reopening has made void: profit, own hours, when it was closed, why it was reopened."""

    profit: Money
    hours: float
    closed_at: datetime.datetime
    why: str


def earlier_results(tx: Tx, car_id: int) -> tuple[EarlierResult, ...]:
    """Results of a car that no longer stand, newest first."""
    currency = get_car(tx, car_id).currency
    found: list[EarlierResult] = []
    why = ""
    for event in trail_of(tx, car_id):
        if event.kind != CLOSED:
            continue
        if "why" in event.data:
            why = str(event.data["why"])
        elif why and "profit_minor" in event.data:
            profit = Money(int(event.data["profit_minor"]), currency)
            found.append(EarlierResult(profit, float(event.data["hours"]), event.at, why))
            why = ""
    return tuple(found)


def reopen_car(tx: Tx, car_id: int, why: str, at: datetime.datetime) -> None:
    """Reopen a closed car; what it taught is taken back until it is closed again."""
    car = get_car(tx, car_id)
    if records.closed_at(tx, car_id) is None:
        raise Conflict(f"{car.name} is not closed.")
    if not why.strip():
        raise BadEntry("Say why the car is reopened.", field="why", value=why)
    records.set_closing(tx, car_id, False, why.strip(), at)
    aside = [
        [one.taught.job.measure, one.taught.job.kind] for one in records.lessons(tx, car_id) if not one.counts
    ]
    records.replace_lessons(tx, car_id, (), at)
    note_event(tx, car_id, CLOSED, f"Reopened: {why.strip()}", {"why": why.strip(), "aside": aside}, at)


def lessons_of(tx: Tx, car_id: int | None = None) -> list[Lesson]:
    """What closed cars taught, with what was set aside, oldest first."""
    if car_id is not None:
        return records.lessons(tx, car_id)
    return list(remembered(tx, "lessons", lambda: tuple(records.lessons(tx)), tables=("lessons_ratio",)))


def set_aside(tx: Tx, lesson_id: int, version: int, at: datetime.datetime, *, counts: bool = False) -> Lesson:
    """Let one comparison teach nothing, or take it up again."""
    lesson = records.set_counts(tx, lesson_id, counts, version)
    what = f"{lesson.taught.job.kind} ({lesson.taught.job.measure})"
    words = f"Lesson taken up again: {what}" if counts else f"Lesson set aside: {what}"
    note_event(tx, lesson.car_id, "lesson", words, {"lesson": lesson_id}, at)
    return lesson


def own_knowledge(tx: Tx) -> str:
    """Everything learned from own cars as a file to share: kinds and counts, nothing of any car."""
    counts = faults.counts_to_share(tx)
    return lessons_yaml(taught_history(tx, shared=False), known_kinds(), counts)


def known_kinds() -> frozenset[str]:
    """Kinds of work and cost that driveout names itself; others are in the person's own words."""
    repairs = catalogue().repairs
    return STANDING_KINDS | {name for key in repairs for name in (key, work_name(key))}


def take_in(tx: Tx, text: str | bytes, name: str, weight: float, *, at: datetime.datetime) -> SharedFile:
    """Take in somebody else's lessons; each of their jobs counts as much as ``weight`` own ones.

    Parameters
    ----------
    tx
        Open transaction.
    text
        A ``driveout-lessons/1`` file.
    name
        What the person calls it.
    weight
        Above 0, below 1: somebody else's estimates are never one's own.
    at
        Present moment.

    Returns
    -------
    SharedFile
        As kept; it can be set aside and taken up again as a whole.

    Raises
    ------
    BadEntry
        If the weight is out of range or the file cannot be read.
    """
    if not 0.0 < weight < 1.0:
        raise BadEntry(
            f"A weight of {weight:g} is outside 0 to 1.",
            field="weight",
            value=weight,
            allowed="above 0, below 1",
        )
    read = read_lessons(text, name)
    done = [one for one in read.taught if one.job.finished]
    if not done and not read.fault_rows:
        raise BadEntry(f"{name} holds no finished job and no fault.", field="file", value=name)
    rows = [dict(row) for row in read.fault_rows]
    kept = records.add_shared(tx, name, weight, jobs_as_rows(done), len(rows), at)
    if rows:
        faults.take_in_counts(tx, kept.id, weight, rows)
    return kept


def shared_files(tx: Tx) -> list[SharedFile]:
    """Files of others that were taken in, oldest first."""
    return records.shared_files(tx)


def let_file_teach(tx: Tx, file: int, version: int, *, counts: bool) -> SharedFile:
    """Let a file that was taken in teach nothing, or teach again."""
    kept = records.set_shared(tx, file, counts, version)
    faults.let_file_teach(tx, file, counts)
    return kept


def history(tx: Tx, *, under_way: bool = True) -> tuple[Job, ...]:
    """Every comparison that counts, for the next estimate.

    Parameters
    ----------
    tx
        Open transaction.
    under_way
        Whether own time of cars still in work counts as a lower bound.

    Returns
    -------
    tuple of Job
        Finished jobs of closed cars first, then unfinished ones.
    """
    return tuple(t.job for t in taught_history(tx, under_way=under_way))


def taught_history(tx: Tx, *, under_way: bool = True, shared: bool = True) -> tuple[Taught, ...]:
    """Every comparison that counts with the range it was forecast with: others' first, then own, oldest first."""
    finished = remembered(
        tx,
        ("finished jobs", shared),
        lambda: _finished(tx, shared),
        tables=HISTORY_TABLES[:2],
    )
    if not under_way:
        return finished
    in_hand = tuple(numbers_in(tx, *IN_HAND))
    begun = remembered(
        tx, "jobs under way", lambda: _begun(tx, in_hand), tables=HISTORY_TABLES[2:], given=in_hand
    )
    return (*finished, *begun)


def learned(tx: Tx) -> Says:
    """What all that counts says together, kind by kind."""
    return _learned(taught_history(tx))


@lru_cache(maxsize=4)
def _learned(history: tuple[Taught, ...]) -> Says:
    return what_was_learned(history)


def _finished(tx: Tx, shared: bool) -> tuple[Taught, ...]:
    found: list[Taught] = []
    for file in records.shared_files(tx) if shared else ():
        if file.counts:
            read = taught_from_rows(file.jobs)
            found += [replace(one, job=replace(one.job, weight=file.weight)) for one in read]
    return (*found, *(lesson.taught for lesson in records.lessons(tx) if lesson.counts))


def _begun(tx: Tx, in_hand: tuple[int, ...]) -> tuple[Taught, ...]:
    found: list[Taught] = []
    spent = money.minutes_by_work(tx, in_hand) if in_hand else {}
    worked_on = {part for part, _ in spent}
    begun = [car_id for car_id in in_hand if car_part(car_id) in worked_on]
    for car_id, estimate in sorted(records.estimates_of(tx, begun).items()) if begun else ():
        for line in estimate.lines:
            minutes = spent.get((car_part(car_id), work_name(line.kind_of_work)), 0)
            # What has hardly begun teaches nothing and would only cost time.
            if line.hours and minutes > 0 and (said := middle(line.hours)) > 0 and minutes / 60 > 0.5 * said:
                raw = said / line.hours_learned
                found.append(Taught(Job(line.kind_of_work, raw, minutes / 60, False, HOURS), line.hours))
    return tuple(found)


@dataclass(frozen=True)
class ExpectedSale:
    """A car in hand, the sale that is expected of it and the price its estimate was frozen with."""

    car: Car
    planned: Planned | None
    suggested: Money | None


@dataclass(frozen=True)
class CashToCome:
    """Cash over all cars, what has no day, and the cars whose sale is expected."""

    ahead: CashAhead
    undated: tuple[Undated, ...]
    sales: tuple[ExpectedSale, ...]


def cash_to_come(tx: Tx, today: datetime.date, currency: str) -> CashToCome:
    """Cash over all cars from today on, with its lowest point.

    Parameters
    ----------
    tx
        Open transaction.
    today
        The day.
    currency
        Cars and cash in this currency are counted.

    Returns
    -------
    CashToCome
        A sale counts only on a day the person typed: a forecast that leans on hoped-for sales
        hides the very day on which the money runs out.
    """
    return remembered(
        tx,
        "cash to come",
        lambda: _cash_to_come(tx, today, currency),
        tables=_CASH_TABLES,
        given=(today, currency),
    )


_CASH_TABLES = (
    *("cars_car", "lessons_estimate", "parts_part", "parts_offer"),
    *("money_entry", "money_posting", "money_link", "money_planned"),
)


def _cash_to_come(tx: Tx, today: datetime.date, currency: str) -> CashToCome:
    cars = [car for car in list_cars(tx) if car.stage in IN_HAND and car.currency == currency]
    ids = [car.id for car in cars]
    planned = [one for one in money.planned_money(tx) if one.amount.currency == currency]
    sales = {one.car_id: one for one in planned if one.kind == "sale" and one.car_id in ids}
    moves = [one for one in planned if one.kind != "sale"]
    undated: list[Undated] = []
    estimates, spent = records.estimates_of(tx, ids), money.cost_by_line(tx, ids)
    owed, parts = money.owed_and_held(tx, ids, currency), parts_of_cars(tx, ids)
    for car in cars:
        cores, held = owed[car.id]
        own = car_part(car.id)
        more, loose = moves_of(
            CarInHand(
                car.id,
                car.name,
                estimates.get(car.id),
                {key: amount for (part, key), amount in spent.items() if part == own},
                [part for part in parts if part.car_id == car.id],
                money.cores_open(tx, car.id) if cores.minor else (),
                held,
                sales.get(car.id),
            ),
            today,
        )
        moves += more
        undated += loose
    return CashToCome(
        cash_ahead(money.cash_at_hand(tx, currency), moves, today),
        tuple(undated),
        tuple(
            ExpectedSale(
                car, sales.get(car.id), estimates[car.id].sale_price if car.id in estimates else None
            )
            for car in cars
        ),
    )


def proved(tx: Tx, car_id: int) -> tuple[ProvedFault, ...]:
    """Faults that taking a car apart proved, with the checks that could have shown them beforehand."""
    rows = findings_of(tx, car_id)
    if not rows:
        return ()
    bought = [e.day for e in standing(car_entries(tx, car_id)) if e.fact("kind") == "purchase"]
    return proved_faults(
        network_for(tx, get_car(tx, car_id)),
        [Noted(row.finding, row.outcome, row.at) for row in rows],
        bought[0] if bought else None,
    )
