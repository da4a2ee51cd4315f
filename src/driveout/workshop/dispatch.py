"""Good plans fast: put one piece after another into the earliest room there is, in a good order.

Gives the upper bound and the hint for the exact model, and often the optimum itself.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Sequence
from heapq import heapify, heappop, heappush

import numpy as np

from driveout.workshop.compressed import NEVER, Problem

ROUNDS, RENTED_ROUNDS, GLOBAL_ROUNDS, PATIENCE = 600, 120, 30, 200
CAR_SIZE = 150


def dispatched(problem: Problem, rng: np.random.Generator, rounds: int = ROUNDS) -> list[int]:
    """Starts of a good plan, found by randomised dispatching.

    Parameters
    ----------
    problem
        The plan in worked time.
    rng
        Where the variations come from.
    rounds
        How many orders are tried; the first two are not random, later ones lie near the best.

    Returns
    -------
    list
        Worked start of each node; `NEVER` for what does not fit into the calendar.

    References
    ----------
    own-reasoning, docs/method/schedule.md.
    """
    heads = problem.heads()
    late = problem.latest(problem.time.total)
    bound = problem.bound(heads)
    count = len(late)
    loose = [j for j in range(count) if problem.starts[j] is None]
    only_finish = not problem.hired
    best: list[int] = []
    best_value: tuple[float, ...] = ()
    improved = 0
    rounds = rounds if only_finish else min(rounds, RENTED_ROUNDS)
    # A plan much larger than a car gets fewer tries, so that it is still answered in a second or two.
    rounds = max(4, int(rounds * min(1.0, (CAR_SIZE / max(count, 1)) ** 2)))
    for n in range(rounds + 1):
        if n > improved + PATIENCE:
            break
        if n < GLOBAL_ROUNDS or NEVER in best:
            scale = max(best[problem.sink] if best and best[problem.sink] < NEVER else problem.time.total, 1)
            noise = (
                rng.normal(0.0, 0.02 * scale * (0.2 + n / GLOBAL_ROUNDS), count) if n > 1 else np.zeros(count)
            )
            rank = np.array(late) + noise
            if n % 2 and n > 1:
                rank[loose] += scale * rng.choice([0.0, 0.05, 0.3])
                starts = in_time(problem, rank.tolist())
            else:
                starts = in_order(problem, rank.tolist(), heads if n == 1 else None)
        else:
            place = in_time if n % 2 else in_order
            starts = place(problem, _near(problem, best, rng))
        value = (sum(s == NEVER for s in starts), *_value(problem, starts, only_finish))
        if not best or value <= best_value:
            if not best or value < best_value:
                improved = n
                late = _tightened(problem, starts, late)
            best, best_value = starts, value
            if only_finish and not value[0] and starts[problem.sink] <= bound:
                return best
    if not only_finish and not best_value[0]:
        best = _rented_later(problem, late, best)
    return best


def _near(problem: Problem, best: Sequence[int], rng: np.random.Generator) -> list[float]:
    """Ranks near those of a plan: a few pieces moved, the rest in its order.

    Every other time what comes right after an idle stretch is drawn forward with all that it waits for.
    """
    rank = np.array(best, dtype=float)
    moved = rng.random(len(rank)) < rng.choice([0.02, 0.05, 0.15])
    reach = rng.choice([0.02, 0.1, 0.3]) * max(best[problem.sink], 1)
    rank += moved * rng.normal(0.0, reach, len(rank))
    late = _after_idle(problem, best)
    if late and rng.random() < 0.5:
        wanted = {late[int(rng.integers(len(late)))]}
        todo = list(wanted)
        while todo:
            for i, _ in problem.before[todo.pop()]:
                if i not in wanted:
                    wanted.add(i)
                    todo.append(i)
        rank[list(wanted)] -= reach
    return [float(r) for r in rank]


def _after_idle(problem: Problem, starts: Sequence[int]) -> list[int]:
    """Pieces before which the person has nothing to do."""
    found = []
    at = 0
    for start, j in sorted((starts[j], j) for j in range(len(starts)) if problem.size[j]):
        if start > at:
            found.append(j)
        at = start + problem.size[j]
    return found


def _value(problem: Problem, starts: Sequence[int], only_finish: bool) -> tuple[float, ...]:
    if only_finish or NEVER in starts:
        return (starts[problem.sink],)
    return (problem.cost(starts), starts[problem.sink])


def _tightened(problem: Problem, starts: Sequence[int], late: list[int]) -> list[int]:
    if starts[problem.sink] >= NEVER:
        return late
    closer = problem.latest(starts[problem.sink])
    return closer if min(closer) >= 0 else late


def _rented_later(problem: Problem, late: Sequence[int], best: list[int]) -> list[int]:
    """Try each day as the first day of the rented things, all other work before it where it can be."""
    value = _value(problem, best, only_finish=False)
    rented = {j for h in problem.hired for j in h.pieces}
    needed = set(rented)
    for j in reversed(range(len(problem.size))):
        if any(k in needed for k, _ in problem.behind[j]):
            needed.add(j)
    finish = best[problem.sink]
    for worked, _day in problem.day_edges:
        if worked > finish * 1.3:
            break
        hold = [worked if j in rented else 0 for j in range(len(problem.size))]
        for first in (set[int](), needed):
            rank = [late[j] - (problem.time.total if j in first else 0) for j in range(len(late))]
            starts = in_order(problem, rank, None, hold)
            if NEVER not in starts and (new := _value(problem, starts, only_finish=False)) < value:
                best, value = starts, new
    return best


def in_order(
    problem: Problem,
    rank: Sequence[float],
    heads: Sequence[int] | None = None,
    hold: Sequence[int] | None = None,
) -> list[int]:
    """Place nodes one by one, the least rank first among those whose needs are placed.

    Parameters
    ----------
    problem
        The plan in worked time.
    rank
        Small for what is urgent.
    heads
        Earliest starts; when given, what can start first goes first and the rank settles ties.
    hold
        Worked time before which each node is not placed.

    Returns
    -------
    list
        Worked starts; `NEVER` for what finds no room.
    """
    count = len(problem.size)
    waits = [len(problem.before[j]) for j in range(count)]
    starts = [NEVER] * count
    ends = [NEVER] * count
    line = Line()

    def key(j: int) -> tuple[float, float]:
        return (heads[j], rank[j]) if heads is not None else (rank[j], j)

    ready = [(key(j), j) for j in range(count) if not waits[j]]
    heapify(ready)
    while ready:
        _, j = heappop(ready)
        if all(starts[i] < NEVER for i, _ in problem.before[j]):
            at = problem.ready(j, ends)
            if hold is not None:
                at = max(at, hold[j])
            starts[j] = _room(problem, j, at, line)
            if starts[j] < NEVER:
                ends[j] = starts[j] + problem.size[j]
                line.take(starts[j], ends[j])
        for k, _ in problem.behind[j]:
            waits[k] -= 1
            if not waits[k]:
                heappush(ready, (key(k), k))
    return starts


def in_time(problem: Problem, rank: Sequence[float]) -> list[int]:
    """Go forward in worked time and always take up the least rank of what can start at once.

    Never idle while something can be done; with work that may be left overnight ranked last,
    such work is kept for the ends of evenings, which other work cannot fill.

    Parameters
    ----------
    problem
        The plan in worked time.
    rank
        Small for what is urgent.

    Returns
    -------
    list
        Worked starts; `NEVER` for what finds no room.
    """
    count = len(problem.size)
    waits = [len(problem.before[j]) for j in range(count)]
    starts, ends = [NEVER] * count, [NEVER] * count
    open_: dict[int, int] = {
        j: problem.first_start(j, problem.ready(j, ends)) for j in range(count) if not waits[j]
    }
    at = 0
    while open_:
        best, best_rank, soonest = -1, float("inf"), NEVER
        for j, first in open_.items():
            if first < at:
                first = problem.first_start(j, at) if problem.size[j] else first
                open_[j] = first
            if first <= at:
                if rank[j] < best_rank:
                    best, best_rank = j, rank[j]
            elif first < soonest:
                soonest = first
        if best < 0:
            if soonest >= NEVER:
                break
            at = soonest
            continue
        starts[best] = open_.pop(best)
        ends[best] = starts[best] + problem.size[best]
        at = max(at, ends[best])
        for k, _ in problem.behind[best]:
            waits[k] -= 1
            if not waits[k]:
                open_[k] = problem.first_start(k, problem.ready(k, ends))
    return starts


class Line:
    """Taken stretches of worked time, joined where they touch."""

    def __init__(self) -> None:
        self.taken: list[tuple[int, int]] = []

    def free_from(self, at: int, size: int) -> int:
        """First moment from ``at`` on with room for ``size``."""
        k = max(bisect_right(self.taken, (at, NEVER)) - 1, 0)
        while k < len(self.taken) and self.taken[k][0] < at + size:
            at = max(at, self.taken[k][1])
            k += 1
        return at

    def take(self, begin: int, end: int) -> None:
        """Take a stretch that is free."""
        if begin == end:
            return
        k = bisect_right(self.taken, (begin, NEVER))
        if k < len(self.taken) and self.taken[k][0] == end:
            end = self.taken.pop(k)[1]
        if k and self.taken[k - 1][1] == begin:
            begin = self.taken.pop(k - 1)[0]
        insort(self.taken, (begin, end))


def _room(problem: Problem, j: int, at: int, line: Line) -> int:
    if not problem.size[j]:
        return problem.first_start(j, at)
    while True:
        start = problem.first_start(j, at)
        if start >= NEVER:
            return NEVER
        at = line.free_from(start, problem.size[j])
        if at == start:
            return start
