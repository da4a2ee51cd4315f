"""A plan in worked time: one person's work as a single line without nights.

Waits and instants (work of no length) need no room on the line. Waits are taken out and become
lags between the pieces of work around them; lags run on the clock.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from driveout.workshop.calendar import DAY_MINUTES, Windows, WorkCalendar, WorkingTime, common
from driveout.workshop.plan import NOBODY, Operation, Plan

Runs = tuple[tuple[int, int], ...]
Edge = tuple[int, int, int]
NEVER = 1 << 40


@dataclass(frozen=True)
class Hired:
    """A rented thing in whole numbers: whose pieces use it, price of a day, day it was fetched."""

    name: str
    pieces: tuple[int, ...]
    cost: int
    since_day: int | None = None


@dataclass(frozen=True)
class Problem:
    """The plan in steps of the grid.

    Parameters
    ----------
    names
        Operation ids; the last node is the finish.
    time
        The person's working time, from now on.
    size
        Worked steps of each node; 0 for an instant.
    starts
        Stretches in which a node may start, both ends included; None for anywhere.
    release
        Worked time before which a node cannot start.
    edges
        ``(i, j, lag)``: j starts once i has ended and the lag has passed on the clock.
    hired
        Rented things.
    day_steps
        Steps of a calendar day.
    day_cost
        Cost of each day until the finish.
    """

    names: tuple[str, ...]
    time: WorkingTime
    size: tuple[int, ...]
    starts: tuple[Runs | None, ...]
    release: tuple[int, ...]
    edges: tuple[Edge, ...]
    hired: tuple[Hired, ...] = ()
    day_steps: int = DAY_MINUTES
    day_cost: int = 1

    @property
    def sink(self) -> int:
        """Number of the finish."""
        return len(self.size) - 1

    @cached_property
    def before(self) -> list[list[tuple[int, int]]]:
        """For each node the nodes it waits for, with lags."""
        found: list[list[tuple[int, int]]] = [[] for _ in self.size]
        for i, j, lag in self.edges:
            found[j].append((i, lag))
        return found

    @cached_property
    def behind(self) -> list[list[tuple[int, int]]]:
        """For each node the nodes that wait for it, with lags."""
        found: list[list[tuple[int, int]]] = [[] for _ in self.size]
        for i, j, lag in self.edges:
            found[i].append((j, lag))
        return found

    def ready(self, j: int, ends: Sequence[int]) -> int:
        """Worked time from which a node can start, given the ends of what it waits for."""
        at = self.release[j]
        for i, lag in self.before[j]:
            end = ends[i]
            at = max(at, self.time.worked_at(self.time.end_clock(end) + lag) if lag else end)
        return at

    def first_start(self, j: int, at: int) -> int:
        """First allowed start of a node from a worked time on; `NEVER` when there is none."""
        if at + self.size[j] > self.time.total:
            return NEVER
        runs = self.starts[j]
        if runs is None:
            return at
        k = bisect_left(runs, at, key=lambda run: run[1])
        return max(at, runs[k][0]) if k < len(runs) else NEVER

    def last_start(self, j: int, at: int) -> int:
        """Last allowed start up to a worked time; -1 when there is none."""
        runs = self.starts[j]
        if runs is None:
            return max(at, -1)
        k = bisect_right(runs, at, key=lambda run: run[0]) - 1
        return min(at, runs[k][1]) if k >= 0 else -1

    def heads(self) -> list[int]:
        """Earliest start of each node if the person had endless hands."""
        starts = [0] * len(self.size)
        ends = [0] * len(self.size)
        for j in range(len(self.size)):
            starts[j] = self.first_start(j, self.ready(j, ends))
            ends[j] = min(starts[j] + self.size[j], NEVER)
        return starts

    def latest(self, finish: int) -> list[int]:
        """Latest start of each node for a finish by some worked time; -1 when it cannot be."""
        late = [0] * len(self.size)
        for i in reversed(range(len(self.size))):
            end = finish
            for j, lag in self.behind[i]:
                end = min(end, self._latest_end(late[j], lag))
            late[i] = self.last_start(i, end - self.size[i])
        return late

    def _latest_end(self, start: int, lag: int) -> int:
        if start < 0 or not lag:
            return start
        moment = self.time.start_clock(start) if start < self.time.total else self.time.ends[-1] - 1
        moment -= lag
        first = self.time.windows[0][0]
        return self.time.worked_at(moment) if moment >= first else -1

    def bound(self, heads: Sequence[int]) -> int:
        """No plan finishes before this worked time: longest path, and work after each release."""
        best = heads[self.sink]
        left = 0
        for j in sorted(range(len(self.size)), key=lambda j: -heads[j]):
            left += self.size[j]
            best = max(best, heads[j] + left)
        return best

    def cannot_finish_by(self, finish: int, heads: Sequence[int]) -> bool:
        """Whether even work that may be broken off anywhere is too much for a finish.

        Earliest due first is best for interruptible work of one person, so missing a latest end
        proves that no plan reaches the finish.
        """
        from heapq import heappop, heappush

        late = self.latest(finish)
        if any(late[j] < heads[j] for j in range(len(self.size))):
            return True
        waiting = sorted((heads[j], j) for j in range(len(self.size)) if self.size[j])
        open_: list[tuple[int, int]] = []
        left = {j: self.size[j] for _, j in waiting}
        at = k = 0
        while k < len(waiting) or open_:
            if not open_:
                at = max(at, waiting[k][0])
            while k < len(waiting) and waiting[k][0] <= at:
                j = waiting[k][1]
                heappush(open_, (late[j] + self.size[j], j))
                k += 1
            due, j = open_[0]
            until = waiting[k][0] if k < len(waiting) else NEVER
            step = min(left[j], until - at)
            at += step
            left[j] -= step
            if not left[j]:
                heappop(open_)
                if at > due:
                    return True
        return False

    @cached_property
    def day_edges(self) -> list[tuple[int, int]]:
        """``(worked, day)``: from this worked time on work lies on this calendar day or later."""
        found = []
        days = {
            day
            for begin, end in self.time.windows
            for day in range(begin // self.day_steps, (end - 1) // self.day_steps + 1)
        }
        for day in sorted(days):
            found.append((self.time.worked_at(day * self.day_steps), day))
        return found

    def day_of_start(self, worked: int) -> int:
        """Calendar day on which work from this worked time on starts."""
        return self.time.start_clock(worked) // self.day_steps

    def day_of_end(self, worked: int) -> int:
        """Calendar day on which work up to this worked time ends; work that ends at midnight ends before it."""
        return max(self.time.end_clock(worked) - (1 if worked else 0), 0) // self.day_steps

    def rental_days(self, hired: Hired, starts: Sequence[int]) -> int:
        """Days from first to last use, both counted."""
        if not hired.pieces:
            return 0
        first = min(self.day_of_start(starts[j]) for j in hired.pieces)
        last = max(self.day_of_end(starts[j] + self.size[j]) for j in hired.pieces)
        return last - (first if hired.since_day is None else min(first, hired.since_day)) + 1

    def cost(self, starts: Sequence[int]) -> int:
        """Cost of the finish day and of all rented days."""
        first_day = self.time.windows[0][0] // self.day_steps if self.time.windows else 0
        finish = self.day_of_end(starts[self.sink]) - first_day
        return self.day_cost * finish + sum(h.cost * self.rental_days(h, starts) for h in self.hired)

    def is_kept(self, starts: Sequence[int]) -> bool:
        """Whether starts keep every rule of the problem; used as the last word on any solver's answer."""
        ends = [s + d for s, d in zip(starts, self.size, strict=True)]
        busy = sorted((starts[j], ends[j]) for j in range(len(self.size)) if self.size[j])
        return (
            all(one[1] <= two[0] for one, two in pairwise(busy))
            and all(
                starts[j] >= self.ready(j, ends) and self.first_start(j, starts[j]) == starts[j]
                for j in range(len(self.size))
            )
            and max(ends, default=0) <= self.time.total
        )


def compressed(plan: Plan, operations: Sequence[Operation]) -> Problem:
    """Put open operations, in an order that keeps their waits, on one line of worked time.

    Parameters
    ----------
    plan
        The plan they are of.
    operations
        As from `what_holds`; work of another person alone counts as a wait here.

    Returns
    -------
    Problem
        Whole numbers in steps of the plan's grid.
    """
    grid = plan.grid_minutes
    calendar = plan.calendar.from_start(plan.start).on_grid(grid)
    time = WorkingTime(calendar.mine)
    now = -(-plan.calendar.clock(plan.start) // grid)
    nodes = [o for o in operations if o.who != NOBODY]
    number = {o.id: n for n, o in enumerate(nodes)}
    sink = len(nodes)
    edges: dict[tuple[int, int], int] = {}
    release = [0] * (sink + 1)
    # Of each operation: the nodes its end follows, with lags, and the clock before which it cannot end.
    tails: dict[str, tuple[list[tuple[int, int]], int]] = {}
    instants: dict[str, tuple[list[tuple[int, int]], int]] = {}
    waited_for = {a.operation for o in operations for a in o.after}
    for operation in operations:
        is_wait = operation.who == NOBODY
        sources, clock = _sources(plan, operation, tails, instants, grid, now, on_the_clock=is_wait)
        steps = steps_of(plan.minutes(operation), grid)
        if is_wait:
            tails[operation.id] = ([(i, lag + steps) for i, lag in sources], clock + steps)
            if operation.id not in waited_for:
                _join(edges, release, sink, *tails[operation.id], time)
            continue
        n = number[operation.id]
        _join(edges, release, n, sources, clock, time)
        tails[operation.id] = ([(n, 0)], now)
        if not steps and not operation.only_in:
            instants[operation.id] = _sources(plan, operation, tails, instants, grid, now, on_the_clock=True)
        edges[n, sink] = 0
    size = [steps_of(plan.minutes(o), grid) or (1 if o.only_in else 0) for o in nodes]
    return Problem(
        names=(*(o.id for o in nodes), ""),
        time=time,
        size=(*size, 0),
        starts=(
            *(allowed_starts(time, _bound_to(calendar, o), o, d) for o, d in zip(nodes, size, strict=True)),
            None,
        ),
        release=tuple(release),
        edges=tuple((i, j, lag) for (i, j), lag in sorted(edges.items())),
        hired=_hired(plan, nodes, now),
        day_steps=DAY_MINUTES // grid,
        day_cost=max(plan.holding_per_day, 1),
    )


def steps_of(minutes: float, grid: int) -> int:
    """Minutes in steps of the grid, rounded up."""
    return -int(-minutes // grid)


def _sources(
    plan: Plan,
    operation: Operation,
    tails: dict[str, tuple[list[tuple[int, int]], int]],
    instants: dict[str, tuple[list[tuple[int, int]], int]],
    grid: int,
    now: int,
    *,
    on_the_clock: bool,
) -> tuple[list[tuple[int, int]], int]:
    found: list[tuple[int, int]] = []
    clock = now
    for part in operation.parts:
        at = plan.arrival[part].at
        if at is not None:
            clock = max(clock, steps_of(plan.calendar.clock(at), grid))
    for after in operation.after:
        lag = steps_of(after.wait_minutes, grid)
        if after.operation in plan.done:
            ended = steps_of(plan.calendar.clock(plan.done[after.operation]), grid)
            clock = max(clock, ended + lag)
            continue
        # A clock wait after an instant counts from what made the instant possible, not from the next opening.
        through = instants if (lag or on_the_clock) and after.operation in instants else tails
        nodes, earliest = through[after.operation]
        found += [(i, more + lag) for i, more in nodes]
        clock = max(clock, earliest + lag)
    return found, clock


def _join(
    edges: dict[tuple[int, int], int],
    release: list[int],
    j: int,
    sources: Iterable[tuple[int, int]],
    clock: int,
    time: WorkingTime,
) -> None:
    release[j] = max(release[j], time.worked_at(clock))
    for i, lag in sources:
        edges[i, j] = max(edges.get((i, j), 0), lag)


def allowed_starts(time: WorkingTime, within: Windows, operation: Operation, size: int) -> Runs | None:
    """Stretches of worked time in which an operation may start, both ends included; None for anywhere.

    Parameters
    ----------
    time
        Working time of whoever does it.
    within
        Stretches of the clock that it is bound to.
    operation
        The work.
    size
        Its length in steps.

    Returns
    -------
    tuple or None
        The stretches.
    """
    if operation.is_splittable and not operation.only_in:
        return None
    pieces = list(time.worked_stretches(within))
    if operation.is_splittable:
        # Left overnight, it goes on when the next bound stretch follows without other working hours between.
        joined: list[tuple[int, int]] = []
        for begin, end in pieces:
            if joined and joined[-1][1] == begin:
                joined[-1] = (joined[-1][0], end)
            else:
                joined.append((begin, end))
        pieces = joined
    return tuple((begin, end - size) for begin, end in pieces if end - begin >= size)


def _bound_to(calendar: WorkCalendar, operation: Operation) -> Windows:
    within = calendar.mine
    for name in operation.only_in:
        within = common(within, calendar.windows(name))
    return within


def _hired(plan: Plan, nodes: Sequence[Operation], now: int) -> tuple[Hired, ...]:
    found = []
    for rental in plan.rentals:
        pieces = tuple(n for n, o in enumerate(nodes) if o.rental == rental.id)
        began = [
            plan.calendar.clock(plan.done[o.id]) // DAY_MINUTES
            for o in plan.operations
            if o.rental == rental.id and o.id in plan.done
        ]
        if any(o.rental == rental.id and o.id in plan.left_minutes for o in nodes):
            began.append(now * plan.grid_minutes // DAY_MINUTES)
        if pieces:
            found.append(Hired(rental.id, pieces, rental.cost_per_day, min(began, default=None)))
    return tuple(found)


def without(problem: Problem, left_out: Iterable[int]) -> Problem:
    """The same problem without some nodes, for what does not fit into the calendar."""
    gone = set(left_out)
    kept = [n for n in range(len(problem.size)) if n not in gone]
    place = {n: k for k, n in enumerate(kept)}
    return replace(
        problem,
        names=tuple(problem.names[n] for n in kept),
        size=tuple(problem.size[n] for n in kept),
        starts=tuple(problem.starts[n] for n in kept),
        release=tuple(problem.release[n] for n in kept),
        edges=tuple((place[i], place[j], lag) for i, j, lag in problem.edges if i in place and j in place),
        hired=tuple(
            replace(h, pieces=tuple(place[n] for n in h.pieces if n in place)) for h in problem.hired
        ),
    )
