"""The exact models: one person in worked time, and several people in clock time.

In worked time nights are gone, so work is an interval of fixed length and nearly all of the
difficulty with it; only lags and rented days look at the clock. That holds while the person is
at all of the work. When a second person works alone, both lines are kept in clock time instead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from driveout.workshop.compressed import Hired, Problem, Runs


@dataclass(frozen=True)
class Solved:
    """Starts found, and whether nothing better exists."""

    starts: list[int]
    is_proven: bool
    bound: float = 0.0


def solver_for(seconds: float, deterministic: bool, seed: int = 1) -> Any:
    """The solver as this job needs it: no probing, two threads, or one for the same answer each time."""
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 1 if deterministic else 2
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.random_seed = seed
    return solver


def solve(problem: Problem, hint: Sequence[int], seconds: float, *, deterministic: bool = False) -> Solved:
    """Find the best starts in worked time.

    Parameters
    ----------
    problem
        The plan in worked time.
    hint
        Starts that keep every rule; the answer is never worse.
    seconds
        Longest time of the solver. [s]
    deterministic
        One thread and the same answer each time, at the risk of no proof.

    Returns
    -------
    Solved
        Starts and proof.

    References
    ----------
    own-reasoning, docs/method/schedule.md.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    finish, least = _horizon(problem, hint)
    heads, late = problem.heads(), problem.latest(finish)
    starts = [
        model.new_int_var_from_domain(_domain(cp_model, problem.starts[j], heads[j], late[j]), f"s{j}")
        for j in range(len(problem.size))
    ]
    model.add_no_overlap(
        [model.new_fixed_size_interval_var(starts[j], d, f"i{j}") for j, d in enumerate(problem.size) if d]
    )
    lags = _Lags(model, problem, starts, heads, late)
    for i, j, lag in problem.edges:
        if lag:
            lags.add(i, j, lag)
        else:
            model.add(starts[j] >= starts[i] + problem.size[i])
    if problem.hired:
        objective = _cost(model, problem, starts, finish)
        model.add(objective >= least)
        model.minimize(objective)
    else:
        # The solver's own bound forgets how much work there is in all.
        model.add(starts[problem.sink] >= problem.bound(heads))
        model.minimize(starts[problem.sink])
    for variable, value in zip(starts, hint, strict=True):
        model.add_hint(variable, value)
    solver = solver_for(seconds, deterministic)
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Solved(list(hint), status == cp_model.INFEASIBLE)
    found = [solver.value(variable) for variable in starts]
    return Solved(found, status == cp_model.OPTIMAL, solver.best_objective_bound)


def _horizon(problem: Problem, hint: Sequence[int]) -> tuple[int, int]:
    """Latest finish that can still pay, and the least cost there can be."""
    if not problem.hired:
        return hint[problem.sink], 0
    heads = problem.heads()
    first_day = problem.time.windows[0][0] // problem.day_steps
    rent = sum(h.cost * _fewest_days(problem, h) for h in problem.hired)
    least = problem.day_cost * (problem.day_of_end(problem.bound(heads)) - first_day) + rent
    spare = (problem.cost(hint) - rent) // problem.day_cost
    last_day = first_day + spare
    later = [worked for worked, day in problem.day_edges if day > last_day]
    return min(later, default=problem.time.total), least


def _fewest_days(problem: Problem, hired: Hired) -> int:
    """No rental is shorter than its work packed into the fullest days, nor than what is past."""
    work = sum(problem.size[j] for j in hired.pieces)
    edges = [worked for worked, _ in problem.day_edges] + [problem.time.total]
    days = 1
    if work:
        room = sorted((b - a for a, b in pairwise(edges)), reverse=True)
        days = next((n for n in range(1, len(room) + 1) if sum(room[:n]) >= work), 1)
    if hired.since_day is not None:
        days = max(days, problem.time.windows[0][0] // problem.day_steps - hired.since_day + 1)
    return days


def _domain(cp_model: Any, runs: Runs | None, first: int, last: int) -> Any:
    if runs is None:
        return cp_model.Domain(first, last)
    pieces = [[max(a, first), min(b, last)] for a, b in runs if max(a, first) <= min(b, last)]
    return cp_model.Domain.from_intervals(pieces)


class _Lags:
    """Lags on the clock: which window the end lies in decides how much of the night the lag eats."""

    def __init__(
        self, model: Any, problem: Problem, starts: list[Any], heads: list[int], late: list[int]
    ) -> None:
        self.model, self.problem, self.starts = model, problem, starts
        self.heads, self.late = heads, late
        self.ends: dict[int, list[tuple[int, Any]]] = {}

    def windows_of(self, i: int) -> list[tuple[int, Any]]:
        """One literal for each window in which node i may end; exactly one is true."""
        if i not in self.ends:
            time, size = self.problem.time, self.problem.size[i]
            first = time.window_of_end(self.heads[i] + size)
            last = time.window_of_end(self.late[i] + size)
            literals = [(k, self.model.new_bool_var(f"w{i}_{k}")) for k in range(first, last + 1)]
            self.model.add_exactly_one([literal for _, literal in literals])
            for k, literal in literals:
                end = self.starts[i] + size
                self.model.add(end <= time.before[k + 1]).only_enforce_if(literal)
                if k > first:
                    self.model.add(end >= time.before[k] + 1).only_enforce_if(literal)
            self.ends[i] = literals
        return self.ends[i]

    def add(self, i: int, j: int, lag: int) -> None:
        time, model = self.problem.time, self.model
        end, start = self.starts[i] + self.problem.size[i], self.starts[j]
        for k, literal in self.windows_of(i):
            opens, closes = time.windows[k]
            # An instant at the very start ends where the first window opens, one step before any work ends.
            soonest = opens + (0 if k == 0 and not self.problem.size[i] else 1) + lag
            model.add(start >= time.worked_at(soonest)).only_enforce_if(literal)
            offset = opens - time.before[k] + lag
            for q in range(k, len(time.windows)):
                a, b = time.windows[q]
                if b <= opens + lag:
                    continue
                if a >= closes + lag:
                    break
                inside = start >= end + (offset + time.before[q] - a)
                if closes + lag <= b - 1:
                    model.add(inside).only_enforce_if(literal)
                    continue
                if q + 1 == len(time.windows):  # there is no next opening
                    model.add(inside).only_enforce_if(literal)
                    model.add(end + offset <= b - 1).only_enforce_if(literal)
                    continue
                # The lag ends before the window q closes, or it runs to the next opening at least.
                early = model.new_bool_var(f"p{i}_{j}_{k}_{q}")
                model.add(inside).only_enforce_if(literal, early)
                model.add(end + offset <= b - 1).only_enforce_if(literal, early)
                model.add(start >= time.before[q + 1]).only_enforce_if(literal, ~early)
                model.add(end + offset >= b).only_enforce_if(literal, ~early)


def _cost(model: Any, problem: Problem, starts: list[Any], finish: int) -> Any:
    """Finish day and rented days, counted over day edges: a step is paid when it is crossed."""
    edges = [(worked, day) for worked, day in problem.day_edges if worked < finish]
    first_day = problem.time.windows[0][0] // problem.day_steps
    total: Any = _last_day(model, starts[problem.sink], edges, finish) - first_day
    total = problem.day_cost * total
    for hired in problem.hired:
        if not hired.pieces:
            continue
        last = model.new_int_var(0, finish, "")
        for j in hired.pieces:
            model.add(last >= starts[j] + problem.size[j])
        days = _last_day(model, last, edges, finish) + 1
        if hired.since_day is not None:
            days = days - hired.since_day
        else:
            first = model.new_int_var(0, finish, "")
            for j in hired.pieces:
                model.add(first <= starts[j])
            days = days - _first_day(model, first, edges)
        total = total + hired.cost * days
    return total


def _last_day(model: Any, end: Any, edges: Sequence[tuple[int, int]], finish: int) -> Any:
    day: Any = edges[0][1] if edges else 0
    previous = None
    for (_, before), (worked, after) in pairwise(edges):
        crossed = model.new_bool_var("")
        model.add(end <= worked).only_enforce_if(~crossed)
        model.add(end >= worked + 1).only_enforce_if(crossed)
        if previous is not None:
            model.add_implication(crossed, previous)
        previous = crossed
        day = day + (after - before) * crossed
    return day


def _first_day(model: Any, start: Any, edges: Sequence[tuple[int, int]]) -> Any:
    day: Any = edges[0][1] if edges else 0
    previous = None
    for (_, before), (worked, after) in pairwise(edges):
        reached = model.new_bool_var("")
        model.add(start >= worked).only_enforce_if(reached)
        model.add(start <= worked - 1).only_enforce_if(~reached)
        if previous is not None:
            model.add_implication(reached, previous)
        previous = reached
        day = day + (after - before) * reached
    return day


@dataclass(frozen=True)
class ClockPiece:
    """Work of one person on the clock.

    Parameters
    ----------
    size
        Steps of work; of the clock when it is nobody's.
    people
        Whose lines it takes up.
    paused
        Allowed starts by the length of all breaks inside: ``{pause: runs}``.
    release
        Clock before which it cannot start.
    """

    size: int
    people: tuple[str, ...]
    paused: Mapping[int, Runs]
    release: int


def solve_on_clock(
    pieces: Sequence[ClockPiece],
    edges: Sequence[tuple[int, int, int]],
    last: int,
    hint: Sequence[tuple[int, int]] | None,
    seconds: float,
    *,
    hired: Sequence[Hired] = (),
    day_steps: int = 1440,
    day_cost: int = 1,
    deterministic: bool = False,
) -> tuple[list[tuple[int, int]] | None, bool]:
    """Find starts and ends on the clock when more than one person works.

    Parameters
    ----------
    pieces
        The work.
    edges
        ``(i, j, lag)`` on the clock.
    last
        End of the calendar.
    hint
        Starts and ends that keep every rule; None when none are known.
    seconds
        Longest time of the solver. [s]
    hired
        Rented things; with them the cost of days is least, without them the finish.
    day_steps
        Steps of a calendar day.
    day_cost
        Cost of each day until the finish.
    deterministic
        One thread.

    Returns
    -------
    tuple
        Start and end of each piece, or None when none were found; and whether nothing better
        exists.

    References
    ----------
    own-reasoning, docs/method/schedule.md.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    starts, ends, lines = [], [], dict[str, list[Any]]()
    finish = model.new_int_var(0, last, "finish")
    for n, piece in enumerate(pieces):
        options = []
        runs = sorted(r for found in piece.paused.values() for r in found)
        start = model.new_int_var_from_domain(_domain(cp_model, tuple(runs), piece.release, last), f"s{n}")
        end = model.new_int_var(0, last, f"e{n}")
        for pause, found in piece.paused.items():
            chosen = model.new_bool_var("")
            options.append(chosen)
            model.add_linear_expression_in_domain(
                start, _domain(cp_model, found, piece.release, last)
            ).only_enforce_if(chosen)
            model.add(end == start + piece.size + pause).only_enforce_if(chosen)
        model.add_exactly_one(options)
        length = model.new_int_var(0, last, "")
        interval = model.new_interval_var(start, length, end, f"i{n}")
        for person in piece.people:
            lines.setdefault(person, []).append(interval)
        model.add(finish >= end)
        starts.append(start)
        ends.append(end)
    for line in lines.values():
        model.add_no_overlap(line)
    for i, j, lag in edges:
        model.add(starts[j] >= ends[i] + lag)
    model.minimize(
        _clock_cost(model, starts, ends, finish, last, hired, day_steps, day_cost) if hired else finish
    )
    for n, (start, end) in enumerate(hint or ()):
        model.add_hint(starts[n], start)
        model.add_hint(ends[n], end)
    solver = solver_for(seconds, deterministic)
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return (list(hint) if hint is not None else None), False
    times = [(solver.value(s), solver.value(e)) for s, e in zip(starts, ends, strict=True)]
    return times, status == cp_model.OPTIMAL


def _clock_cost(
    model: Any,
    starts: Sequence[Any],
    ends: Sequence[Any],
    finish: Any,
    last: int,
    hired: Sequence[Hired],
    day_steps: int,
    day_cost: int,
) -> Any:
    days = last // day_steps + 1
    finish_day = model.new_int_var(0, days, "")
    model.add(finish <= (finish_day + 1) * day_steps)
    total: Any = day_cost * finish_day
    for thing in hired:
        first, latest = model.new_int_var(0, days, ""), model.new_int_var(0, days, "")
        for j in thing.pieces:
            model.add(starts[j] >= first * day_steps)
            model.add(ends[j] <= (latest + 1) * day_steps)
        if thing.since_day is not None:
            model.add(first <= thing.since_day)
        total = total + thing.cost * (latest - first + 1)
    return total * (last + 1) + finish  # of equal costs the sooner finish
