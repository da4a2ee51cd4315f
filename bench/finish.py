"""Chances of the finish: 10,000 runs of 120 operations, against the same runs one by one in Python.

The peer draws with the same laws in NumPy and then plays each run in a plain loop over the
operations with bisection in the same calendar; it plays ``--loop`` runs and its time is scaled up.
Both use one thread; ``seconds`` is processor time, which a busy machine does not lengthen.
"""

from __future__ import annotations

import argparse
import datetime
import statistics
from bisect import bisect_left, bisect_right
from dataclasses import replace
from time import perf_counter, process_time
from typing import Any

import numpy as np

from bench.schedule import a_plan
from driveout.uncertain import Fixed
from driveout.workshop.calendar import Windows, common
from driveout.workshop.finish import finish_chances, pert
from driveout.workshop.plan import Hidden, Plan
from driveout.workshop.schedule import Schedule, plan_work

SIZE, RUNS, ROUNDS, SEEDS = 120, 10_000, 7, 10


def an_uncertain_plan(seed: int) -> Plan:
    plan = a_plan(seed, SIZE)
    operations = tuple(
        replace(
            o,
            spread=pert(0.7 * o.minutes, o.minutes, 2.2 * o.minutes),
            hidden=Hidden(0.15, Fixed(45.0)) if k % 9 == 0 else None,
        )
        for k, o in enumerate(plan.operations)
    )
    arrivals = tuple(replace(p, late_days=pert(-1, 0, 4)) for p in plan.arrivals)
    return replace(plan, operations=operations, arrivals=arrivals)


class OneByOne:
    """The same runs, each in a plain loop."""

    def __init__(self, schedule: Schedule) -> None:
        self.schedule = schedule
        calendar = schedule.plan.calendar
        self.windows: Windows = calendar.mine
        self.ends = [b for _, b in self.windows]
        self.before = [0]
        for a, b in self.windows:
            self.before.append(self.before[-1] + b - a)
        self.pieces = {
            o.id: [
                (self.worked_at(a), self.worked_at(a) + b - a)
                for a, b in (common(self.windows, calendar.others["helper"]) if o.only_in else self.windows)
            ]
            for o in schedule.plan.operations
            if not o.is_splittable
        }
        self.longest = {name: max(b - a for a, b in found) for name, found in self.pieces.items()}

    def worked_at(self, clock: float) -> float:
        k = bisect_right(self.ends, clock)
        if k == len(self.ends):
            return self.before[-1] + clock - self.ends[-1]
        return self.before[k] + max(0.0, clock - self.windows[k][0])

    def end_clock(self, worked: float) -> float:
        k = min(max(bisect_left(self.before, worked) - 1, 0), len(self.windows) - 1)
        return self.windows[k][0] + worked - self.before[k]

    def play(self, runs: int, rng: np.random.Generator) -> list[float]:
        plan = self.schedule.plan
        pace = np.exp(rng.normal(0.0, 0.15, runs))
        arrivals = {}
        for part in plan.arrivals:
            assert part.at is not None
            assert part.late_days is not None
            arrivals[part.id] = plan.calendar.clock(part.at) + 1440 * part.late_days.sample(rng, runs)
        sizes = {}
        for o in plan.operations:
            assert o.spread is not None
            size = o.spread.sample(rng, runs)
            if o.hidden is not None:
                size = size + (rng.random(runs) < o.hidden.chance) * 45.0
            sizes[o.id] = size * pace
        out = []
        for n in range(runs):
            free = 0.0
            ends: dict[str, float] = {}
            for placed in self.schedule.placed:
                o = placed.operation
                size = sizes[o.id][n]
                start = free
                for after in o.after:
                    if after.wait_minutes:
                        start = max(start, self.worked_at(ends[after.operation] + after.wait_minutes))
                for name in o.parts:
                    start = max(start, self.worked_at(arrivals[name][n]))
                if o.id in self.pieces:
                    start = self.fitted(start, size, self.pieces[o.id], self.longest[o.id])
                free = start + size
                ends[o.id] = self.end_clock(free)
            out.append(max(ends.values()))
        return sorted(out)

    def fitted(self, start: float, size: float, pieces: list[tuple[float, float]], longest: float) -> float:
        k = bisect_right(pieces, start, key=lambda piece: piece[1])
        while k < len(pieces):
            start = max(start, pieces[k][0])
            if size > longest or start + size <= pieces[k][1] + 1e-9:
                return start
            k += 1
        return start


def sessions_apart(schedule: Schedule, one: datetime.datetime, two: datetime.datetime) -> int:
    """How many free stretches lie between two moments."""
    calendar = schedule.plan.calendar
    ends = [b for _, b in calendar.mine]
    return abs(bisect_left(ends, calendar.clock(one)) - bisect_left(ends, calendar.clock(two)))


def run(argv: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="bench finish")
    parser.add_argument("--loop", type=int, default=300, help="runs of the peer")
    options = parser.parse_args(argv)
    schedule = plan_work(an_uncertain_plan(5))
    if schedule.troubles:
        raise AssertionError(schedule.troubles[0].message)
    finish_chances(schedule, np.random.default_rng(0), samples=100)
    walls, works = [], []
    for n in range(ROUNDS):
        began, work = perf_counter(), process_time()
        finish_chances(schedule, np.random.default_rng(n), samples=RUNS)
        walls.append(perf_counter() - began)
        works.append(process_time() - work)
    peer = OneByOne(schedule)
    loops = []
    for n in range(3):
        work = process_time()
        theirs = peer.play(options.loop, np.random.default_rng(n))
        loops.append((process_time() - work) * RUNS / options.loop)
    found = [finish_chances(schedule, np.random.default_rng(100 + n), samples=RUNS) for n in range(SEEDS)]
    p80 = [f.p80.moment for f in found]
    pool = np.sort(np.concatenate([f.ends for f in found]))
    # The loop is the same law by another route: its median lies where the pool says it should.
    share = float(np.searchsorted(pool, statistics.median(theirs)) / len(pool))
    if abs(share - 0.5) > 4 * 0.5 / options.loop**0.5:
        raise AssertionError(f"the loop's median lies at {share:.3f} of our runs")
    middle = sorted(p80)[SEEDS // 2]
    return {
        "runs": RUNS,
        "operations": SIZE,
        "seconds": round(min(works), 4),
        "wall_seconds": round(min(walls), 4),
        "loop_seconds": round(min(loops), 2),
        "ratio_loop": round(min(loops) / min(works), 1),
        "p80_sessions_apart": max(sessions_apart(schedule, middle, other) for other in p80),
        "p80_days": sorted({moment.date().isoformat() for moment in p80}),
    }
