"""Plans of one car against PyJobShop with breaks: ``python -m bench schedule [--plans 6] [--cap 10]``.

Plans hold 60, 90 or 120 operations: evenings and weekends, helper hours, part arrivals, waits
through the night, three in ten not splittable. Both get the same plan in steps of five minutes
and the finish is to be earliest; the peer stops at the cap, which then counts as its time. A plan
of ours counts as proven when the proof is there within 2 s in all. Then the same plans with a
hoist rented by the day. The peer has no rented days; the second part has no peer. Processor seconds
are those of both threads together; on a busy machine they say more than the clock.
"""

from __future__ import annotations

import argparse
import datetime
import math
import random
import statistics
from dataclasses import replace
from time import perf_counter, process_time
from typing import Any

import pyjobshop

from driveout.workshop.calendar import WorkCalendar
from driveout.workshop.plan import After, Arrival, Operation, Plan, Rental
from driveout.workshop.schedule import plan_work

ORIGIN = datetime.date(2026, 3, 2)
GRID, DAYS = 5, 60
SIZES = (60, 90, 120)
PROVEN_WITHIN_S, RENTAL_WITHIN_S = 2.0, 10.0


def a_plan(seed: int, size: int) -> Plan:
    """One car: chains with cross links, as strip, mend and refit of several areas give."""
    rng = random.Random(seed)
    mine, helper = [], []
    for day in range(DAYS):
        at = day * 1440
        if day % 7 < 5:
            if rng.random() < 0.8:
                mine.append((at + 18 * 60, at + rng.choice([20, 21, 21, 22]) * 60))
        else:
            mine.append((at + 9 * 60, at + 12 * 60 + 30))
            mine.append((at + 13 * 60 + 30, at + 18 * 60))
            if rng.random() < 0.7:
                helper.append((at + 10 * 60, at + 16 * 60))
    start = datetime.datetime.combine(ORIGIN, datetime.time())
    arrivals = tuple(
        Arrival(f"p{k}", f"p{k}", start + datetime.timedelta(days=rng.randint(1, 14), hours=15))
        for k in range(8)
    )
    operations = []
    for k in range(size):
        near = range(max(0, k - 12), k)
        before = rng.sample(near, min(len(near), rng.choice([0, 1, 1, 2])))
        after = tuple(
            After(f"o{i}", rng.choice([60, 240, 720, 1440]) if rng.random() < 0.12 else 0)
            for i in sorted(before)
        )
        with_helper = rng.random() < 0.06
        operations.append(
            Operation(
                f"o{k}",
                f"o{k}",
                GRID * rng.randint(2, 18),
                after,
                is_splittable=rng.random() > 0.3 and not with_helper,
                only_in=("helper",) if with_helper else (),
                parts=(f"p{rng.randrange(8)}",) if rng.random() < 0.1 else (),
            )
        )
    return Plan(
        start, WorkCalendar(ORIGIN, tuple(mine), {"helper": tuple(helper)}), tuple(operations), arrivals,
        grid_minutes=GRID,
    )  # fmt: skip


def with_hoist(plan: Plan, seed: int) -> Plan:
    """A stretch of about a quarter of the operations on a hoist, days of the car cheaper than of the hoist."""
    rng = random.Random(seed)
    count = len(plan.operations)
    first = rng.randrange(count // 4, count // 2)
    operations = tuple(
        replace(o, rental="hoist") if first <= k < first + count // 3 and rng.random() < 0.8 else o
        for k, o in enumerate(plan.operations)
    )
    return replace(
        plan, operations=operations, rentals=(Rental("hoist", "hoist", 2500),), holding_per_day=1000
    )


def breaks_of(windows: tuple[tuple[int, int], ...], end: int) -> list[tuple[int, int]]:
    out, at = [], 0
    for a, b in windows:
        if a // GRID > at:
            out.append((at, a // GRID))
        at = b // GRID
    return [*out, (at, end)]


def peer(plan: Plan, cap: float) -> tuple[int | None, bool]:
    """Finish on the grid, None when PyJobShop found none in the time, and whether it is proven."""
    model = pyjobshop.Model()
    end = DAYS * 1440 // GRID
    me = model.add_machine(breaks=breaks_of(plan.calendar.mine, end))
    helper = model.add_machine(breaks=breaks_of(plan.calendar.others["helper"], end))
    tasks = {}
    for o in plan.operations:
        ready = [plan.arrival[name].at for name in o.parts]
        earliest = max((plan.calendar.clock(at) // GRID for at in ready if at is not None), default=0)
        task = model.add_task(earliest_start=earliest, latest_end=end, allow_breaks=o.is_splittable)
        model.add_mode(task, [me, helper] if o.only_in else [me], int(o.minutes) // GRID)
        tasks[o.id] = task
    for o in plan.operations:
        for after in o.after:
            model.add_end_before_start(tasks[after.operation], tasks[o.id], int(after.wait_minutes) // GRID)
    result = model.solve(solver="ortools", time_limit=cap, num_workers=2, display=False)
    if not math.isfinite(result.objective):
        return None, False
    return int(result.objective), result.status.value == "Optimal"


def run(argv: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="bench schedule")
    parser.add_argument("--plans", type=int, default=6)
    parser.add_argument("--cap", type=float, default=10.0, help="seconds for the peer on each plan")
    options = parser.parse_args(argv)
    plan_work(with_hoist(a_plan(999, 20), 999))  # loads the solver before anything is timed
    peer(a_plan(999, 10), 1.0)
    proven, ratios, later, excess, empty, peer_proven, times = [], [], 0, 0.0, 0, [], []
    rental_proven, rental_times, rental_work = [], [], []
    for n in range(options.plans):
        plan = a_plan(100 + n, SIZES[n % len(SIZES)])
        began = perf_counter()
        ours = plan_work(plan, seconds=PROVEN_WITHIN_S)
        mine = perf_counter() - began
        if ours.troubles:
            raise AssertionError(f"plan {n} has troubles: {ours.troubles[0].message}")
        began = perf_counter()
        theirs, theirs_proven = peer(plan, options.cap)
        other = perf_counter() - began
        other = min(other, options.cap) if theirs_proven else options.cap
        finish = plan.calendar.clock(ours.finish) // GRID
        proven.append(ours.is_proven and mine <= PROVEN_WITHIN_S)
        peer_proven.append(theirs_proven)
        times.append(mine)
        ratios.append(mine / other)
        if theirs is None:
            empty += 1
        else:
            later += finish > theirs
            excess += max(theirs - finish, 0) * GRID / 1440
        began, work = perf_counter(), process_time()
        rented = plan_work(with_hoist(plan, n), seconds=RENTAL_WITHIN_S)
        rental_times.append(perf_counter() - began)
        rental_work.append(process_time() - work)
        rental_proven.append(rented.is_proven and rental_times[-1] <= RENTAL_WITHIN_S + 1)
    return {
        "plans": options.plans,
        "proven": round(statistics.fmean(proven), 3),
        "median_s": round(statistics.median(times), 3),
        "median_ratio": round(statistics.median(ratios), 4),
        "later_than_peer": later,
        "excess_days_peer": round(excess, 2),
        "without_plan_peer": empty,
        "proven_peer": round(statistics.fmean(peer_proven), 3),
        "rental_proven": round(statistics.fmean(rental_proven), 3),
        "rental_median_s": round(statistics.median(rental_times), 3),
        "rental_median_processor_s": round(statistics.median(rental_work), 3),
        "cap_s": options.cap,
    }
