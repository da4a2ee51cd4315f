"""What it costs to bring one car's outlook up to date, with many cars in the record.

Every update is a write as the person makes it: the action notes its fact on the trail, the
outlook is recomputed in the same transaction, and the whole is committed to a file that
survives a power cut. ``p95_ms`` counts from the noted fact to the end of the commit;
``write_p95_ms`` also counts the action's own work, such as the advice on an offer;
``processor_p95_ms`` is the processor's part of ``p95_ms``, which other programs do not disturb.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from driveout.app import ready_store
from driveout.cars.actions import change_facts, change_stage
from driveout.demo.actions import linnet, usd
from driveout.faults.actions import record_finding
from driveout.hunt.actions import buy
from driveout.market.actions import add_one, appraise_car
from driveout.money.actions import book_hours, book_receipt
from driveout.outlook.actions import newest_point
from driveout.parts import Offer
from driveout.parts.actions import add_offer, parts_of
from driveout.repairs.actions import choose_repair
from driveout.selling.actions import make_plan, put_ask, record_enquiry, record_offer
from driveout.store import Store, Tx
from driveout.workshop.actions import every_work, pass_hold_point, record_task

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
#: stages to which the cars are brought in turn
STAGES = ("advert", "bought", "in work", "for sale")
CLUTCH, OTHER = "rep_clutch_fwd", "rep_water_pump"
Act = Callable[[Tx, int, int, datetime], object]


def a_story(tx: Tx, number: int, at: datetime) -> tuple[int, str]:
    """One invented car, brought to one of four stages of its life."""
    car_id, stage, day = linnet(tx, at), STAGES[number % len(STAGES)], at.date()
    change_facts(tx, car_id, {"name": f"Tarnwick Linnet 1.4, no. {number}"}, at=at)
    for step in range(number % 5):
        record_finding(tx, car_id, finding=FINDINGS[step], outcome="no", at=at)
    if stage == "advert":
        return car_id, stage
    buy(tx, car_id, usd(str(1200 + 10 * (number % 40))), at=at)
    choose_repair(tx, car_id, CLUTCH, "new", at=at)
    if stage == "bought":
        return car_id, stage
    change_stage(tx, car_id, "in work", at)
    book_receipt(tx, car_id, "parts", usd("142"), "Clutch kit", "Quillan", day, at=at, line=CLUTCH)
    book_hours(tx, car_id, "rep-clutch-fwd", 2.5, at, day=day, line=CLUTCH)
    if stage == "for sale":
        put_ask(tx, car_id, usd("5800"), at=at)
        make_plan(tx, car_id, {"fallback": "3000", "value": "5500", "value_sd": 0.08}, at=at)
    return car_id, stage


FINDINGS = ("say_airbag", "say_brakes", "say_no_heat", "say_windows", "say_dent")


def _finding(tx: Tx, car: int, turn: int, at: datetime) -> object:
    return record_finding(tx, car, finding="d_clutch_hold", outcome=("yes", "no")[turn % 2], at=at)


def _repair(tx: Tx, car: int, turn: int, at: datetime) -> object:
    return choose_repair(tx, car, OTHER, "new", at=at)


def _part_priced(tx: Tx, car: int, turn: int, at: datetime) -> object:
    part = next(one for one in parts_of(tx, car) if one.state == "needed")
    return add_offer(tx, car, part.id, Offer("Quillan", usd(f"{12 + turn}.40"), 4), at=at)


def _receipt(tx: Tx, car: int, turn: int, at: datetime) -> object:
    day = at.date()
    return book_receipt(tx, car, "parts", usd(f"{30 + turn}.15"), f"Hose {turn}", "Quillan", day, at=at)


def _hour(tx: Tx, car: int, turn: int, at: datetime) -> object:
    # a day of its own for each booking: a day holds no more than 24 hours
    day = START.date() - timedelta(days=20 * car + turn)
    return book_hours(tx, car, "rep-clutch-fwd", 1.0 + 0.25 * turn, at, day=day, line=CLUTCH)


def _step(tx: Tx, car: int, turn: int, at: datetime) -> object:
    held = every_work(tx, car)[0]
    task = next(t for t in held.plan.tasks if not held.work.is_finished(t))
    if task.kind == "hold":
        return pass_hold_point(tx, car, held.job.id, task.id, at=at, note="seen")
    return record_task(tx, car, held.job.id, task.id, at=at)


def _comparable(tx: Tx, car: int, turn: int, at: datetime) -> object:
    cells = {"price": str(5200 + 90 * turn), "made_year": "2013", "mileage_km": str(150_000 + 900 * turn)}
    add_one(tx, car, {**cells, "label": f"Linnet {turn}"}, at=at)
    return appraise_car(tx, car, at=at)


def _enquiry(tx: Tx, car: int, turn: int, at: datetime) -> object:
    return record_enquiry(tx, car, at=at, who="M. Penhalow")


def _offer(tx: Tx, car: int, turn: int, at: datetime) -> object:
    return record_offer(tx, car, usd(str(4400 + 50 * turn)), buyer="R. Sorrel", at=at)


#: kind of fact, what the person does, stages in which it is done
ACTS: tuple[tuple[str, Act, tuple[str, ...]], ...] = (
    ("finding", _finding, STAGES),
    ("repair chosen", _repair, ("bought", "in work")),
    ("part priced", _part_priced, ("bought", "in work")),
    ("receipt", _receipt, ("bought", "in work", "for sale")),
    ("hour", _hour, ("bought", "in work")),
    ("step done", _step, ("in work",)),
    ("comparable", _comparable, STAGES),
    ("enquiry", _enquiry, ("for sale",)),
    ("offer", _offer, ("for sale",)),
)


def built(store: Store, cars: int) -> list[tuple[int, str]]:
    """Fill a record with cars; their outlooks are first computed when something happens to them."""
    hooks, store.before_commit = store.before_commit, []
    made: list[tuple[int, str]] = []
    for number in range(cars):
        with store.writing() as tx:
            made.append(a_story(tx, number, START + timedelta(days=number)))
    store.before_commit = hooks
    return made


def measure(cars: int, turns: int) -> dict[str, Any]:
    """Time of each update over ``turns`` rounds through the cars, kinds of fact in turn."""
    with tempfile.TemporaryDirectory() as folder:
        store = ready_store(Path(folder))
        made = built(store, cars)
        began: list[float] = []
        worked: list[float] = []

        def begin(tx: Tx, touched: dict[int, list[str]]) -> None:
            began.append(time.perf_counter())
            worked.append(time.process_time())

        store.before_commit.insert(0, begin)
        updates: dict[str, list[float]] = {kind: [] for kind, *_ in ACTS}
        writes: list[float] = []
        processor: list[float] = []
        points = 0
        at = START + timedelta(days=cars + 10)
        for turn in range(turns):
            for kind, act, stages in ACTS:
                chosen = [car for car, stage in made if stage in stages]
                # a car that no update has touched yet, so that nothing about it is remembered
                for car in chosen[turn :: max(turns, len(chosen) // 4)]:
                    at += timedelta(minutes=7)
                    with store.reading() as tx:
                        before = newest_point(tx, car)
                    start = time.perf_counter()
                    with store.writing() as tx:
                        act(tx, car, turn, at)
                    end = time.perf_counter()
                    updates[kind].append(1000 * (end - began[-1]))
                    processor.append(1000 * (time.process_time() - worked[-1]))
                    writes.append(1000 * (end - start))
                    with store.reading() as tx:
                        points += newest_point(tx, car) != before
        store.close()
    every = [value for values in updates.values() for value in values]
    return {
        "cars": cars,
        "updates": len(every),
        "points_added": points,
        "p50_ms": round(float(np.percentile(every, 50)), 1),
        "p95_ms": round(float(np.percentile(every, 95)), 1),
        "processor_p95_ms": round(float(np.percentile(processor, 95)), 1),
        "processor_p50_ms": round(float(np.percentile(processor, 50)), 1),
        "p95_ms_by_kind": {
            kind: round(float(np.percentile(values, 95)), 1) for kind, values in updates.items() if values
        },
        "write_p95_ms": round(float(np.percentile(writes, 95)), 1),
    }


def run(argv: list[str]) -> dict[str, Any]:
    """Parse the arguments and measure."""
    parser = argparse.ArgumentParser(prog="python -m bench outlook")
    parser.add_argument("--cars", type=int, default=200)
    parser.add_argument("--turns", type=int, default=8)
    words = parser.parse_args(argv)
    return measure(words.cars, words.turns)
