"""Each kind of fact moves the outlook: what it moved, which way, and with which reason in the trail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from driveout.cars.actions import change_stage
from driveout.demo.actions import linnet, usd
from driveout.faults.actions import record_finding
from driveout.hunt.actions import buy
from driveout.market.actions import add_one, appraise_car
from driveout.money.actions import book_hours, book_receipt
from driveout.outlook.actions import moved, note_delay, trail
from driveout.outlook.records import Point
from driveout.parts import Offer
from driveout.parts.actions import add_offer, order_part, parts_of
from driveout.repairs.actions import choose_repair, keep_pace, set_free_hours
from driveout.repairs.days import FreeHours
from driveout.selling.actions import make_plan, put_ask, record_enquiry, record_offer, reply_to_offer
from driveout.store import Store, Tx
from driveout.workshop.actions import every_work, pass_hold_point, record_task

AT = datetime(2026, 5, 4, 9, tzinfo=UTC)
CLUTCH = "rep_clutch_fwd"


def at(days: float) -> datetime:
    return AT + timedelta(days=days)


def in_work(store: Store) -> int:
    """A bought car with its clutch chosen."""
    with store.writing() as tx:
        car = linnet(tx, AT)
    with store.writing() as tx:
        buy(tx, car, usd("1200"), at=at(1))
    with store.writing() as tx:
        choose_repair(tx, car, CLUTCH, "new", at=at(1))
        change_stage(tx, car, "in work", at(1))
    return car


def for_sale(store: Store) -> int:
    car = in_work(store)
    with store.writing() as tx:
        put_ask(tx, car, usd("5900"), at=at(2))
    with store.writing() as tx:
        make_plan(tx, car, {"fallback": "3000", "value": "5600", "value_sd": 0.08}, at=at(2))
    return car


def finding(tx: Tx, car: int) -> None:
    record_finding(tx, car, finding="say_brakes", outcome="yes", at=at(3))


def another_repair(tx: Tx, car: int) -> None:
    choose_repair(tx, car, "rep_brake_front", "new", at=at(3))


def part_priced(tx: Tx, car: int) -> None:
    part = next(one for one in parts_of(tx, car) if "lutch" in one.line.what)
    add_offer(tx, car, part.id, Offer("Quillan", usd("410"), 4), at=at(3))


def parts_ordered(tx: Tx, car: int) -> None:
    for part in parts_of(tx, car):
        offer = add_offer(tx, car, part.id, Offer("Quillan", usd("21"), 40), at=at(3))
        order_part(tx, car, part.id, offer.id, at(3).date(), at=at(3))


def receipt(tx: Tx, car: int) -> None:
    book_receipt(tx, car, "parts", usd("38.20"), "Hose clips", "Quillan", at(3).date(), at=at(3))


def hour(tx: Tx, car: int) -> None:
    book_hours(tx, car, "search", 9.0, at(3), day=at(3).date())


def step_done(tx: Tx, car: int) -> None:
    work = every_work(tx, car)[0]
    for task in [task for task in work.plan.tasks if task.phase == "strip"]:
        held = every_work(tx, car)[0]
        if task.kind == "hold":
            pass_hold_point(tx, car, held.job.id, task.id, at=at(3), note="all of it seen and free")
        else:
            record_task(tx, car, held.job.id, task.id, at=at(3))


def delay(tx: Tx, car: int) -> None:
    note_delay(tx, car, 21, "the flywheel is at the machine shop", at=at(3))


def free_hours(tx: Tx, car: int) -> None:
    set_free_hours(tx, car, FreeHours({"saturday": ["09:00-12:00"]}, {}), at=at(3))


def plan_of_days(tx: Tx, car: int) -> None:
    hours = FreeHours({day: ["18:00-22:00"] for day in ("monday", "tuesday", "friday")}, {})
    set_free_hours(tx, car, hours, at=at(3))
    assert keep_pace(tx, car, at=at(3), seconds=1.0, runs=300) is not None


def comparable(tx: Tx, car: int) -> None:
    for price, km in (("2900", "150000"), ("3200", "139000"), ("2700", "171000")):
        add_one(tx, car, {"price": price, "mileage_km": km, "made_year": "2013"}, at=at(3))
    appraise_car(tx, car, at=at(3))


def enquiry(tx: Tx, car: int) -> None:
    for _ in range(3):
        record_enquiry(tx, car, at=at(12), who="M. Penhalow")


def offer(tx: Tx, car: int) -> None:
    record_offer(tx, car, usd("5200"), buyer="R. Sorrel", at=at(12))


def accepted(tx: Tx, car: int) -> None:
    kept = record_offer(tx, car, usd("5200"), buyer="R. Sorrel", at=at(12))
    reply_to_offer(tx, car, kept.id, "accept", version=kept.version, at=at(12))


def change(points: list[Point], what: str) -> float:
    """How far a figure moved from the last point but one to the last. [minor units, h, days]."""
    before, after = (getattr(point, what) for point in points[-2:])
    if what.startswith(("finish", "sale")):
        return float((date.fromisoformat(after) - date.fromisoformat(before)).days)
    return float(after - before)


PROFIT, HOURS, FINISH, SALE = "profit_mean_minor", "hours_p50", "finish_p50", "sale_p50"

#: fact, car it happens to, the word of the reason, what moves and which way (0: either)
FACTS: tuple[tuple[Callable[[Tx, int], None], Callable[[Store], int], str, dict[str, int]], ...] = (
    (finding, in_work, "Found", {PROFIT: -1}),
    (another_repair, in_work, "Repair chosen", {PROFIT: -1, HOURS: +1, FINISH: +1}),
    (part_priced, in_work, "Offer for", {PROFIT: -1}),
    (parts_ordered, in_work, "Ordered", {FINISH: +1, SALE: +1}),
    (receipt, in_work, "Receipt", {PROFIT: -1}),
    (hour, in_work, "Own work", {HOURS: +1}),
    (step_done, in_work, "", {FINISH: -1, SALE: -1}),
    (delay, in_work, "Delay of 21 days", {PROFIT: -1, FINISH: +1, SALE: +1}),
    (free_hours, in_work, "Free hours", {FINISH: +1, SALE: +1}),
    (plan_of_days, in_work, "Free hours", {FINISH: -1}),
    (comparable, in_work, "Value", {PROFIT: -1}),
    (enquiry, for_sale, "Enquiry", {SALE: -1}),
    # ten days without a buyer count as well, so an offer may move the day either way
    (offer, for_sale, "Offer 5,200", {SALE: 0}),
    (accepted, for_sale, "Offer 5,200", {SALE: -1}),
)


@pytest.mark.parametrize(("act", "make", "word", "moves"), FACTS, ids=[f[0].__name__ for f in FACTS])
def test_each_kind_of_fact_leaves_a_point_that_says_what_it_moved(
    store: Store,
    act: Callable[[Tx, int], None],
    make: Callable[[Store], int],
    word: str,
    moves: dict[str, int],
) -> None:
    car = make(store)
    if act in (enquiry, offer, accepted):
        # the days until then have passed under both, so that only the buyers differ
        with store.writing() as tx:
            note_delay(tx, car, 0.5, "nothing yet", at=at(12))
    with store.reading() as tx:
        before = len(trail(tx, car))
    with store.writing() as tx:
        act(tx, car)
    with store.reading() as tx:
        points = trail(tx, car)

    assert len(points) == before + 1
    assert word in points[-1].reason
    for what, way in moves.items():
        by = change(points, what)
        assert by * way > 0 if way else by != 0, (what, by)
    assert moved(points[-2], points[-1]) != "the band only"


def test_a_move_names_both_ends_and_what_is_no_longer_asked_has_not_moved(store: Store) -> None:
    car = for_sale(store)
    with store.reading() as tx:
        point = trail(tx, car)[-1]
    dearer = replace(point, profit_p50_minor=120_000, finish_p50=None, sale_p50=None)

    assert (
        moved(replace(point, profit_p50_minor=100_000), dearer) == "profit from 1,000.00 USD to 1,200.00 USD"
    )
    assert moved(replace(point, profit_p50_minor=None), dearer) == "profit 1,200.00 USD"
    assert moved(point, replace(point, profit_p50_minor=None)) == "profit no longer known"
