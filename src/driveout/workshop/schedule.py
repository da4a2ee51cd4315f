"""Days for the work: when each operation is done, proven to be the earliest finish or the least cost."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from driveout.errors import BadEntry
from driveout.workshop.calendar import DAY_MINUTES, common
from driveout.workshop.compressed import NEVER, Problem, compressed, steps_of, without
from driveout.workshop.dispatch import dispatched, in_order
from driveout.workshop.plan import ME, NOBODY, Operation, Plan, what_holds
from driveout.workshop.schedule_model import solve
from driveout.workshop.two_people import is_needed, plan_on_clock

Stretch = tuple[datetime.datetime, datetime.datetime]


@dataclass(frozen=True)
class Placed:
    """An operation with its dates.

    Parameters
    ----------
    operation
        The work or wait.
    start, end
        Local time of its first and last minute.
    stretches
        When it is worked on; one stretch when it is a wait.
    """

    operation: Operation
    start: datetime.datetime
    end: datetime.datetime
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True)
class Schedule:
    """The plan of days.

    Parameters
    ----------
    plan
        What it was made for.
    placed
        Open operations with dates, by start.
    finish
        When the last one ends; the start of the plan when nothing is open.
    is_proven
        Whether no better plan exists.
    proof
        In words, how that is known, or that it is not.
    rental_days
        Days of each rented thing, first and last counted, days gone by included.
    cost
        Minor units: rented days and days until the finish.
    troubles
        What is wrong with the plan, and what has no date because of it.
    """

    plan: Plan
    placed: tuple[Placed, ...]
    finish: datetime.datetime
    is_proven: bool
    proof: str
    rental_days: Mapping[str, int]
    cost: int
    troubles: tuple[BadEntry, ...] = ()

    def of(self, operation_id: str) -> Placed | None:
        """Dates of one operation, None when it has none."""
        return next((p for p in self.placed if p.operation.id == operation_id), None)

    @property
    def no_date(self) -> tuple[Operation, ...]:
        """Open operations that have no date."""
        dated = {p.operation.id for p in self.placed}
        return tuple(o for o in self.plan.operations if o.id not in dated and o.id not in self.plan.done)


def plan_work(plan: Plan, *, seconds: float = 2.0, deterministic: bool = False, seed: int = 1) -> Schedule:
    """Give every operation its day and hour.

    Without rented things the earliest finish in worked time is sought; with them the least cost of
    rented days and days until the finish. What cannot be planned is left out and named; the rest
    is planned all the same. Starts may differ from run to run where several plans are equally
    good; the finish and the cost do not once they are proven.

    Parameters
    ----------
    plan
        Operations, calendar, arrivals, what is done.
    seconds
        Longest time of the exact solver, which is not always called. [s]
    deterministic
        One solver thread: the same starts each time, sometimes without a proof.
    seed
        Of the randomised first plans.

    Returns
    -------
    Schedule
        Dates, proof, and what is wrong.

    References
    ----------
    own-reasoning, docs/method/schedule.md.
    """
    operations, troubles = what_holds(plan)
    found = list(troubles)
    if is_needed(operations):
        answer = plan_on_clock(plan, operations, seconds, deterministic=deterministic)
        times, proven, no_room = answer.times, answer.is_proven, answer.no_room
        proof = "Proven for several people." if proven else "The best found; a better one may exist."
    else:
        times, proven, no_room, proof = _alone(plan, operations, seconds, deterministic, seed)
    found += [
        BadEntry(
            f"{plan.by_id[name].title} does not fit into the {_days(plan)} days of the calendar. "
            "Give more days or more hours.",
            field=name,
            value=plan.by_id[name].title,
        )
        for name in no_room
    ]
    if no_room:
        proven, proof = False, "Not all of the work fits into the calendar; these are the dates of what does."
    return _schedule(plan, operations, times, proven, proof, tuple(found))


def _days(plan: Plan) -> int:
    ends = [end for _, end in plan.calendar.mine]
    return -(-max(ends, default=0) // DAY_MINUTES)


def _alone(
    plan: Plan, operations: Sequence[Operation], seconds: float, deterministic: bool, seed: int
) -> tuple[dict[str, tuple[int, int]], bool, tuple[str, ...], str]:
    problem = compressed(plan, operations)
    starts, proven, proof, problem = best_starts(problem, seconds, deterministic=deterministic, seed=seed)
    times, no_room = _clock_times(plan, operations, problem, starts)
    return times, proven, no_room, proof


def best_starts(
    problem: Problem, seconds: float, *, deterministic: bool = False, seed: int = 1
) -> tuple[list[int], bool, str, Problem]:
    """Best starts in worked time: dispatch first, then bounds, then the exact model.

    Parameters
    ----------
    problem
        The plan in worked time.
    seconds
        Longest time of the solver. [s]
    deterministic
        One solver thread.
    seed
        Of the dispatching.

    Returns
    -------
    tuple
        Starts, whether they are proven best, the proof in words, and the problem without what did
        not fit.
    """
    starts = dispatched(problem, np.random.default_rng(seed))
    gone = {j for j, s in enumerate(starts) if s == NEVER and j != problem.sink}
    if gone:
        problem = without(problem, gone)
        starts = dispatched(problem, np.random.default_rng(seed))
    if NEVER in starts:  # the finish itself lies past the calendar: a wait outlasts it
        return starts, False, "The plan runs past the end of the calendar.", problem
    if not problem.hired:
        heads = problem.heads()
        finish = starts[problem.sink]
        if finish <= problem.bound(heads) or problem.cannot_finish_by(finish - 1, heads):
            return starts, True, "No plan is earlier: the work and waits themselves take this long.", problem
    answer = solve(problem, starts, seconds, deterministic=deterministic)
    is_kept = problem.is_kept(answer.starts)
    better = _moved_up(problem, answer.starts) if is_kept else starts
    if answer.is_proven and is_kept:
        return better, True, "No plan is better: every other one was ruled out.", problem
    return better, False, "The best found in the time; a better one may exist.", problem


def _moved_up(problem: Problem, starts: list[int]) -> list[int]:
    """The same order with each piece as soon as it can be, where that costs nothing more."""
    sooner = in_order(problem, [float(s) for s in starts])
    if NEVER in sooner or sooner[problem.sink] > starts[problem.sink]:
        return starts
    return starts if problem.hired and problem.cost(sooner) > problem.cost(starts) else sooner


def _clock_times(
    plan: Plan, operations: Sequence[Operation], problem: Problem, starts: Sequence[int]
) -> tuple[dict[str, tuple[int, int]], tuple[str, ...]]:
    """Clock of every operation: work through the maps, waits and instants from what they follow."""
    grid = plan.grid_minutes
    now = -(-plan.calendar.clock(plan.start) // grid)
    number = {name: n for n, name in enumerate(problem.names[:-1])}
    times: dict[str, tuple[int, int]] = {}
    no_room: list[str] = []
    for operation in operations:
        n = number.get(operation.id)
        if n is not None and problem.size[n]:
            end = problem.time.end_clock(starts[n] + problem.size[n])
            times[operation.id] = (problem.time.start_clock(starts[n]), end)
            continue
        if any(a.operation not in times and a.operation not in plan.done for a in operation.after) or (
            n is None and operation.who != NOBODY
        ):
            no_room.append(operation.id)
            continue
        begin = now
        for after in operation.after:
            wait = steps_of(after.wait_minutes, grid)
            if after.operation in times:
                begin = max(begin, times[after.operation][1] + wait)
            else:
                begin = max(begin, steps_of(plan.calendar.clock(plan.done[after.operation]), grid) + wait)
        for part in operation.parts:
            at = plan.arrival[part].at
            if at is not None:
                begin = max(begin, steps_of(plan.calendar.clock(at), grid))
        times[operation.id] = (begin, begin + steps_of(plan.minutes(operation), grid))
    return times, tuple(no_room)


def _schedule(
    plan: Plan,
    operations: Sequence[Operation],
    times: Mapping[str, tuple[int, int]],
    proven: bool,
    proof: str,
    troubles: tuple[BadEntry, ...],
) -> Schedule:
    grid = plan.grid_minutes
    calendar = plan.calendar.from_start(plan.start).on_grid(grid)

    def moment(step: int) -> datetime.datetime:
        return plan.calendar.moment(step * grid)

    placed = []
    for operation in operations:
        if operation.id not in times:
            continue
        begin, end = times[operation.id]
        pieces: Sequence[tuple[int, int]] = ((begin, end),)
        if operation.who != NOBODY and end > begin:
            pieces = common(calendar.windows(operation.who), ((begin, end),))
        stretches = tuple((moment(a), moment(b)) for a, b in pieces)
        placed.append(Placed(operation, moment(begin), moment(end), stretches))
    placed.sort(key=lambda p: (p.start, p.end))
    finish = max((p.end for p in placed), default=plan.start)
    days = {rental.id: _rented(plan, placed, rental.id) for rental in plan.rentals}
    to_finish = (_last_day(finish) - plan.start.date()).days if placed else 0
    cost = to_finish * plan.holding_per_day + sum(r.cost_per_day * days[r.id] for r in plan.rentals)
    return Schedule(plan, tuple(placed), finish, proven, proof, days, cost, troubles)


def _last_day(moment: datetime.datetime) -> datetime.date:
    """Day of the last worked minute: work up to midnight belongs to the day before."""
    return (moment - datetime.timedelta(minutes=1)).date()


def _rented(plan: Plan, placed: Sequence[Placed], rental: str) -> int:
    days = [day for p in placed if p.operation.rental == rental for day in (p.start.date(), _last_day(p.end))]
    days += [plan.done[o.id].date() for o in plan.operations if o.rental == rental and o.id in plan.done]
    return (max(days) - min(days)).days + 1 if days else 0


def schedule_as_data(schedule: Schedule) -> dict[str, Any]:
    """JSON shape of the plan of days.

    Parameters
    ----------
    schedule
        The plan of days.

    Returns
    -------
    dict
        ``driveout-plan-of-days/1``.
    """
    plan = schedule.plan
    return {
        "schema": "driveout-plan-of-days/1",
        "title": plan.title,
        "start": plan.start.isoformat(timespec="minutes"),
        "finish": schedule.finish.isoformat(timespec="minutes"),
        "is_proven": schedule.is_proven,
        "proof": schedule.proof,
        "currency": plan.currency,
        "cost_minor": schedule.cost,
        "rental_days": dict(schedule.rental_days),
        "operations": [
            {
                "id": p.operation.id,
                "name": p.operation.title,
                "who": p.operation.who,
                "start": p.start.isoformat(timespec="minutes"),
                "end": p.end.isoformat(timespec="minutes"),
                "stretches": [
                    [a.isoformat(timespec="minutes"), b.isoformat(timespec="minutes")] for a, b in p.stretches
                ],
                "after": [a.operation for a in p.operation.after],
                "rental": p.operation.rental,
            }
            for p in schedule.placed
        ],
        "no_date": [o.id for o in schedule.no_date],
        "troubles": [trouble.as_dict()["error"] for trouble in schedule.troubles],
    }


def worked_minutes(schedule: Schedule) -> float:
    """Minutes of the person's own work that are still to be done and have a date."""
    return sum(
        (b - a) / datetime.timedelta(minutes=1)
        for p in schedule.placed
        if p.operation.who == ME
        for a, b in p.stretches
    )
