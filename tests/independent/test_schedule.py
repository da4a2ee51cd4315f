"""The plan of days against another route: every order of seven operations, minute by minute."""

from __future__ import annotations

import datetime
import itertools
import random

import pytest

from bench import schedule as schedule_bench
from driveout.workshop.calendar import WorkCalendar
from driveout.workshop.plan import After, Arrival, Operation, Plan, Rental
from driveout.workshop.schedule import Schedule, plan_work

ORIGIN = datetime.date(2026, 3, 2)
HOUR = 60


class Minutes:
    """The calendar as a list of worked quarter hours: no maps, only a table."""

    def __init__(self, plan: Plan) -> None:
        grid = plan.grid_minutes
        self.grid = grid
        self.slots = [t for a, b in plan.calendar.mine for t in range(a // grid, b // grid)]
        self.inside = {
            name: {t for a, b in windows for t in range(a // grid, b // grid)}
            for name, windows in plan.calendar.others.items()
        }

    def run(self, plan: Plan, o: Operation, free: int, ends: dict[str, int]) -> int | None:
        """First slot number of a feasible run from ``free`` on."""
        size = -(-int(o.minutes) // self.grid)
        ready = 0
        for after in o.after:
            ready = max(ready, ends[after.operation] + -(-int(after.wait_minutes) // self.grid))
        for part in o.parts:
            at = plan.arrival[part].at
            assert at is not None
            ready = max(ready, -(-plan.calendar.clock(at) // self.grid))
        for k in range(free, len(self.slots) - size + 1):
            used = self.slots[k : k + size]
            if used[0] < ready:
                continue
            if not o.is_splittable and used[-1] - used[0] != size - 1:
                continue
            if any(t not in self.inside[name] for name in o.only_in for t in used):
                continue
            return k
        return None


def brute_finish(plan: Plan) -> int | None:
    """Earliest end of the last worked slot over all orders, each started as soon as it can."""
    table = Minutes(plan)
    best: int | None = None

    def go(left: frozenset[str], free: int, ends: dict[str, int], last: int) -> None:
        nonlocal best
        if best is not None and last >= best:
            return
        if not left:
            best = last
            return
        for name in sorted(left):
            o = plan.by_id[name]
            if any(a.operation in left for a in o.after):
                continue
            k = table.run(plan, o, free, ends)
            if k is None:
                continue
            size = -(-int(o.minutes) // table.grid)
            end = table.slots[k + size - 1] + 1
            go(left - {name}, k + size, {**ends, name: end}, max(last, end))

    go(frozenset(plan.by_id), 0, {}, 0)
    return best


def a_small_plan(seed: int, count: int = 7) -> Plan:
    """Seven operations, evenings and a Saturday, waits over night, a helper, a part, work in one go."""
    rng = random.Random(seed)
    mine, helper = [], []
    for day in range(12):
        begin = day * 1440 + (18 * HOUR if day % 7 < 5 else 9 * HOUR)
        length = rng.choice([90, 120, 180]) if day % 7 < 5 else rng.choice([240, 360])
        if rng.random() < 0.85:
            mine.append((begin, begin + length))
            if rng.random() < 0.6:
                helper.append((begin + 30, begin + length - rng.choice([0, 30])))
    names = [f"o{i}" for i in range(count)]
    operations = []
    for i, name in enumerate(names):
        after = [
            After(names[k], rng.choice([0, 0, 45, 300, 720, 1440, 2000]))
            for k in range(i)
            if rng.random() < 0.3
        ]
        kind = rng.random()
        operations.append(
            Operation(
                name,
                name,
                rng.choice([15, 30, 45, 60, 75, 90]),
                tuple(after),
                is_splittable=rng.random() > 0.35,
                only_in=("helper",) if kind < 0.25 and helper else (),
                parts=("kit",) if kind > 0.85 else (),
            )
        )
    return Plan(
        datetime.datetime.combine(ORIGIN, datetime.time()),
        WorkCalendar(ORIGIN, tuple(mine), {"helper": tuple(helper)}),
        tuple(operations),
        arrivals=(
            Arrival(
                "kit",
                "kit",
                datetime.datetime.combine(datetime.date(2026, 3, rng.choice([3, 4, 5])), datetime.time(12)),
            ),
        ),
        grid_minutes=15,
    )


def broken_rules(schedule: Schedule) -> list[str]:
    """Rules of the plan that dates break, looked at on the clock alone."""
    plan = schedule.plan
    table = Minutes(plan)
    used: dict[int, str] = {}
    broken = []
    for placed in schedule.placed:
        o = placed.operation
        if o.who != "me":
            continue
        slots = [
            t
            for a, b in placed.stretches
            for t in range(plan.calendar.clock(a) // table.grid, plan.calendar.clock(b) // table.grid)
        ]
        if len(slots) != -(-int(o.minutes) // table.grid):
            broken.append(f"{o.id} has {len(slots)} slots")
        broken += [f"{o.id} and {used[t]} overlap" for t in slots if t in used]
        used |= dict.fromkeys(slots, o.id)
        if not set(slots) <= set(table.slots):
            broken.append(f"{o.id} outside of the hours")
        if not o.is_splittable and slots[-1] - slots[0] != len(slots) - 1:
            broken.append(f"{o.id} is split")
        broken += [f"{o.id} outside of {n}" for n in o.only_in if not set(slots) <= table.inside[n]]
        for name in o.parts:
            at = plan.arrival[name].at
            if at is None or placed.start < at:
                broken.append(f"{o.id} before its part")
        for after in o.after:
            earlier = schedule.of(after.operation)
            if earlier is None or placed.start < earlier.end + datetime.timedelta(minutes=after.wait_minutes):
                broken.append(f"{o.id} too soon after {after.operation}")
    return broken


@pytest.mark.parametrize("block", range(8))
def test_the_finish_is_the_earliest_of_all_orders(block: int) -> None:
    for seed in range(block * 20, block * 20 + 20):
        plan = a_small_plan(seed)
        best = brute_finish(plan)
        schedule = plan_work(plan)
        if best is None:
            assert schedule.no_date, seed
            continue

        assert not schedule.troubles, seed
        assert schedule.is_proven, seed
        assert plan.calendar.clock(schedule.finish) == best * plan.grid_minutes, seed
        assert not broken_rules(schedule), seed


def brute_cost(plan: Plan) -> int | None:
    """Least cost over all orders and all delays by whole days of each operation (small plans only)."""
    table = Minutes(plan)
    day_starts = sorted(
        {next(k for k, u in enumerate(table.slots) if u // 96 == t // 96) for t in table.slots}
    )
    best: int | None = None

    def cost(ends: dict[str, int], begins: dict[str, int]) -> int:
        finish = (max(ends.values()) - 1) // 96
        total = plan.holding_per_day * finish
        for rental in plan.rentals:
            days = [begins[o.id] // 96 for o in plan.operations if o.rental == rental.id]
            days += [(ends[o.id] - 1) // 96 for o in plan.operations if o.rental == rental.id]
            total += rental.cost_per_day * (max(days) - min(days) + 1) if days else 0
        return total

    def go(left: frozenset[str], free: int, ends: dict[str, int], begins: dict[str, int]) -> None:
        nonlocal best
        if not left:
            value = cost(ends, begins)
            best = value if best is None else min(best, value)
            return
        for name in sorted(left):
            o = plan.by_id[name]
            if any(a.operation in left for a in o.after):
                continue
            for wait_to in [free, *(k for k in day_starts if k > free)]:
                k = table.run(plan, o, wait_to, ends)
                if k is None:
                    break
                size = -(-int(o.minutes) // table.grid)
                go(
                    left - {name},
                    k + size,
                    {**ends, name: table.slots[k + size - 1] + 1},
                    {**begins, name: table.slots[k]},
                )

    go(frozenset(plan.by_id), 0, {}, {})
    return best


def a_rented_plan(seed: int) -> Plan:
    """Four operations in five days, two of them with a rented thing."""
    rng = random.Random(seed)
    base = a_small_plan(seed, 4)
    rented = set(rng.sample(range(4), 2))
    return Plan(
        base.start,
        WorkCalendar(ORIGIN, base.calendar.mine[:6], base.calendar.others),
        tuple(
            Operation(
                o.id,
                o.id,
                o.minutes,
                tuple(After(a.operation, min(a.wait_minutes, 720)) for a in o.after),
                rental="hoist" if i in rented else "",
            )
            for i, o in enumerate(base.operations)
        ),
        rentals=(Rental("hoist", "hoist", rng.choice([50, 250, 700])),),
        holding_per_day=rng.choice([100, 300]),
        grid_minutes=15,
    )


def test_rented_days_and_finish_cost_the_least_there_is() -> None:
    later = 0
    for seed in range(40):
        plan = a_rented_plan(seed)
        best = brute_cost(plan)
        schedule = plan_work(plan)
        assert best is not None
        later += (
            schedule.finish
            > plan_work(Plan(plan.start, plan.calendar, plan.operations, grid_minutes=15)).finish
        )

        assert schedule.is_proven, seed
        assert schedule.cost == best, seed
        assert not broken_rules(schedule), seed
    assert later > 0  # in some plans the car is finished later so that the hoist goes back sooner


@pytest.mark.parametrize("seed", range(3))
def test_pyjobshop_with_breaks_finds_the_same_finish(seed: int) -> None:
    """Sixty days, helper, arrivals, waits, work in one go: the same plan by another model, in clock time."""
    plan = schedule_bench.a_plan(seed, 10)
    theirs, proven = schedule_bench.peer(plan, 60.0)
    schedule = plan_work(plan)

    assert proven
    assert schedule.is_proven
    assert plan.calendar.clock(schedule.finish) // plan.grid_minutes == theirs


def test_a_second_person_working_alone_agrees_with_every_assignment_of_orders() -> None:
    """Two lines: each order on each line, started as soon as the other line allows."""
    for seed in range(12):
        rng = random.Random(seed)
        day = [(d * 1440 + 18 * HOUR, d * 1440 + 21 * HOUR) for d in range(8)]
        late = [(d * 1440 + 19 * HOUR, d * 1440 + 20 * HOUR) for d in range(8)]
        operations = tuple(
            Operation(
                f"o{i}",
                f"o{i}",
                rng.choice([30, 60, 90]),
                tuple(After(f"o{k}") for k in range(i) if rng.random() < 0.3),
                who="helper" if i in (1, 3) else "me",
            )
            for i in range(5)
        )
        plan = Plan(
            datetime.datetime.combine(ORIGIN, datetime.time()),
            WorkCalendar(ORIGIN, tuple(day), {"helper": tuple(late)}),
            operations,
            grid_minutes=30,
        )
        slots = {
            who: [t for a, b in plan.calendar.windows(who) for t in range(a // 30, b // 30)]
            for who in ("me", "helper")
        }
        best = 10**9
        for order in itertools.permutations(operations):
            free = {"me": 0, "helper": 0}
            ends: dict[str, int] = {}
            for o in order:
                if any(a.operation not in ends for a in o.after):
                    break
                line = slots[o.who]
                ready = max((ends[a.operation] for a in o.after), default=0)
                k = next(k for k in range(free[o.who], len(line)) if line[k] >= ready)
                free[o.who] = k + int(o.minutes) // 30
                ends[o.id] = line[free[o.who] - 1] + 1
            else:
                best = min(best, max(ends.values()))
        schedule = plan_work(plan)

        assert schedule.is_proven
        assert plan.calendar.clock(schedule.finish) == best * 30, seed
