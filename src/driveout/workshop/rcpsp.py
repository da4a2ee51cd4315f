"""Projects with limited resources and no calendar: several bays, tools or hands at once.

The plan of one car for one person needs none of this; it is the general case behind it, checked
on published projects with known optima.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from driveout.errors import BadEntry
from driveout.workshop.schedule_model import solver_for

POPULATION = 30
FIRST_LOOK, SEARCH, PROOF = 0.10, 0.35, 0.75
"""Shares of the time by which the first proof attempt, the search, and the second proof attempt end."""


@dataclass(frozen=True)
class Project:
    """Jobs with durations, an order, and resources of limited capacity.

    Parameters
    ----------
    durations
        Of each job, whole numbers, 0 or more.
    after
        For each job the jobs that it waits for.
    demands
        For each job what it takes of each resource while it runs.
    capacities
        Of each resource.
    """

    durations: tuple[int, ...]
    after: tuple[tuple[int, ...], ...]
    demands: tuple[tuple[int, ...], ...] = ()
    capacities: tuple[int, ...] = ()
    order: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        for j, duration in enumerate(self.durations):
            if duration < 0:
                raise BadEntry(f"Job {j} has duration {duration}; 0 or more was expected.", value=duration)
        for j, row in enumerate(self.demands):
            if any(u > c for u, c in zip(row, self.capacities, strict=True)):
                raise BadEntry(f"Job {j} takes more of a resource than there is.", value=str(row))
        object.__setattr__(self, "order", self._order())

    def _order(self) -> tuple[int, ...]:
        waits = [len(set(row)) for row in self.after]
        behind: list[list[int]] = [[] for _ in self.durations]
        for j, row in enumerate(self.after):
            for i in set(row):
                behind[i].append(j)
        ready = [j for j, count in enumerate(waits) if not count]
        order = []
        while ready:
            i = ready.pop()
            order.append(i)
            for j in behind[i]:
                waits[j] -= 1
                if not waits[j]:
                    ready.append(j)
        if len(order) < len(waits):
            stuck = [j for j, count in enumerate(waits) if count]
            raise BadEntry(f"Jobs {', '.join(map(str, stuck[:8]))} wait for each other in a circle.")
        return tuple(order)

    def turned(self) -> Project:
        """The same project read from its end."""
        behind: list[list[int]] = [[] for _ in self.durations]
        for j, row in enumerate(self.after):
            for i in row:
                behind[i].append(j)
        return Project(self.durations, tuple(tuple(row) for row in behind), self.demands, self.capacities)


@dataclass(frozen=True)
class CriticalPath:
    """Earliest and latest dates when nothing but the order limits the jobs."""

    early_start: tuple[float, ...]
    early_finish: tuple[float, ...]
    late_start: tuple[float, ...]
    late_finish: tuple[float, ...]
    length: float

    @property
    def slack(self) -> tuple[float, ...]:
        """How much later each job may start without moving the finish."""
        return tuple(late - early for late, early in zip(self.late_start, self.early_start, strict=True))

    @property
    def critical(self) -> tuple[int, ...]:
        """Jobs without slack."""
        return tuple(j for j, slack in enumerate(self.slack) if abs(slack) < 1e-9)


@dataclass(frozen=True)
class ProjectPlan:
    """Starts of the jobs, when the last one ends, and the least it could be."""

    starts: tuple[int, ...]
    makespan: int
    bound: int

    @property
    def is_proven(self) -> bool:
        """Whether no plan is shorter."""
        return self.makespan <= self.bound


def critical_path(durations: Sequence[float], after: Sequence[Sequence[int]]) -> CriticalPath:
    """Earliest and latest dates of jobs that wait for one another.

    Parameters
    ----------
    durations
        Of each job, or their means.
    after
        For each job the jobs that it waits for; circles are refused.

    Returns
    -------
    CriticalPath
        Dates from 0, and the length of the longest path.

    Raises
    ------
    BadEntry
        If jobs wait for each other in a circle.

    References
    ----------
    malcolm-pert-1959.

    Examples
    --------
    >>> critical_path([2, 3, 1], [[], [], [0, 1]]).slack
    (1.0, 0.0, 0.0)
    """
    order = Project(tuple(0 for _ in durations), tuple(tuple(row) for row in after)).order
    early = [0.0] * len(durations)
    for j in order:
        early[j] = max((early[i] + durations[i] for i in after[j]), default=0.0)
    length = max((early[j] + durations[j] for j in order), default=0.0)
    late = [length] * len(durations)
    for j in reversed(order):
        late[j] -= durations[j]
        for i in after[j]:
            late[i] = min(late[i], late[j])
    return CriticalPath(
        tuple(early),
        tuple(e + d for e, d in zip(early, durations, strict=True)),
        tuple(late),
        tuple(start + d for start, d in zip(late, durations, strict=True)),
        length,
    )


def read_project(text: str, name: str = "project") -> Project:
    """Read a single-mode project in the ``.sm`` layout of the project scheduling library.

    Parameters
    ----------
    text
        Content of the file.
    name
        File name for messages.

    Returns
    -------
    Project
        Jobs counted from 0.

    Raises
    ------
    BadEntry
        If a section is missing or a line does not fit.

    References
    ----------
    psplib-1996.
    """
    sections: dict[str, list[list[str]]] = {}
    title = ""
    for line in text.splitlines():
        words = line.split()
        if not words or set(line.strip()) <= {"*", "-"}:
            continue
        if line.rstrip().endswith(":") and not words[0].isdigit():
            title = line.strip().rstrip(":")
            sections[title] = []
        elif title and all(word.lstrip("-").isdigit() for word in words):
            sections[title].append([*words])
    try:
        links = sections["PRECEDENCE RELATIONS"]
        work = sections["REQUESTS/DURATIONS"]
        capacities = tuple(int(word) for word in sections["RESOURCEAVAILABILITIES"][0])
        after: list[list[int]] = [[] for _ in links]
        for row in links:
            for word in row[3 : 3 + int(row[2])]:
                after[int(word) - 1].append(int(row[0]) - 1)
        return Project(
            tuple(int(row[2]) for row in work),
            tuple(tuple(row) for row in after),
            tuple(tuple(int(word) for word in row[3:]) for row in work),
            capacities,
        )
    except (KeyError, IndexError, ValueError) as error:
        raise BadEntry(
            f"{name} is not a single-mode project file: {error}. Sections PRECEDENCE RELATIONS, "
            "REQUESTS/DURATIONS and RESOURCEAVAILABILITIES are needed.",
            place=name,
        ) from error


def solve_project(
    project: Project,
    seconds: float,
    rng: np.random.Generator,
    *,
    clock: Callable[[], float] | None = None,
    schedules: int = 2000,
) -> ProjectPlan:
    """Find the shortest plan of a project.

    A few dispatched plans give a first length; when that meets the longest path or the work per
    resource nothing more is done. Then the exact solver and a search over orders (crossing,
    swapping, pushing right and left) take turns, each starting from the best of the other.

    Parameters
    ----------
    project
        Jobs, order, resources.
    seconds
        Longest time. [s]
    rng
        Where the variations come from.
    clock
        Seconds that pass; when given the search ends by time, otherwise by number of plans.
    schedules
        Number of plans that the search may try without a clock.

    Returns
    -------
    ProjectPlan
        Starts, length and lower bound.

    References
    ----------
    valls-ballestin-quintanilla-2005 for the double push; own-reasoning, docs/method/schedule.md.
    """
    began = clock() if clock else 0.0

    def left(share: float) -> float:
        return seconds * share - (clock() - began) if clock else seconds * share

    search = _Search(project, rng)
    bound = _bound(project)
    search.start(bound)
    if search.length > bound:
        bound = _exact(project, search, max(left(FIRST_LOOK), 0.05), bound)
    if search.length > bound:
        search.run(bound, clock, began + seconds * SEARCH, schedules)
        bound = _exact(project, search, max(left(PROOF), 0.05), bound)
    if search.length > bound:
        search.run(bound, clock, began + seconds, schedules)
    return ProjectPlan(tuple(search.best), search.length, bound)


def _bound(project: Project) -> int:
    longest = critical_path(project.durations, project.after).length
    loads = [
        -(-sum(d * row[r] for d, row in zip(project.durations, project.demands, strict=True)) // capacity)
        for r, capacity in enumerate(project.capacities)
        if capacity
    ]
    return max([int(longest), *loads])


def _exact(project: Project, search: _Search, seconds: float, bound: int) -> int:
    """Let the exact solver look for a shorter plan; returns the better bound."""
    from ortools.sat.python import cp_model

    model: Any = cp_model.CpModel()
    dates = critical_path(project.durations, project.after)
    spare = search.length - int(dates.length)
    starts = [
        model.new_int_var(int(e), int(late) + spare, f"s{j}")
        for j, (e, late) in enumerate(zip(dates.early_start, dates.late_start, strict=True))
    ]
    finish = model.new_int_var(bound, search.length, "finish")
    intervals = [
        model.new_fixed_size_interval_var(s, d, "") for s, d in zip(starts, project.durations, strict=True)
    ]
    for j, row in enumerate(project.after):
        model.add(finish >= starts[j] + project.durations[j])
        for i in row:
            model.add(starts[j] >= starts[i] + project.durations[i])
    for r, capacity in enumerate(project.capacities):
        users = [j for j, row in enumerate(project.demands) if row[r] and project.durations[j]]
        if capacity == 1:
            model.add_no_overlap([intervals[j] for j in users])
        elif users:
            model.add_cumulative(
                [intervals[j] for j in users], [project.demands[j][r] for j in users], capacity
            )
    model.minimize(finish)
    for variable, value in zip(starts, search.best, strict=True):
        model.add_hint(variable, value)
    model.add_hint(finish, search.length)
    solver = solver_for(seconds, deterministic=False)
    status = solver.solve(model)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        search.offer([solver.value(variable) for variable in starts])
    return max(bound, int(solver.best_objective_bound)) if status != cp_model.UNKNOWN else bound


class _Search:
    """Orders of the jobs and the plans they give; a population of the better ones."""

    def __init__(self, project: Project, rng: np.random.Generator) -> None:
        self.project, self.rng = project, rng
        self.ahead = _Placer(project)
        self.back = _Placer(project.turned())
        self.best: list[int] = []
        self.length = 1 << 60
        self.people: list[tuple[int, list[int]]] = []

    def start(self, bound: int) -> None:
        """Plans by latest start with growing noise, until one meets the bound."""
        late = np.array(critical_path(self.project.durations, self.project.after).late_start)
        spread = max(float(late.max(initial=0.0)), 1.0)
        for n in range(POPULATION):
            rank = late + self.rng.normal(0.0, 0.25 * spread * n / POPULATION, len(late))
            self.try_order(self.ahead.sorted_by(rank.tolist()))
            if self.length <= bound:
                return

    def try_order(self, order: Sequence[int]) -> None:
        """Plan, push everything right, then left again; keep it if it is among the better ones."""
        durations = self.project.durations
        starts = self.ahead.place(order)
        ends = [s + d for s, d in zip(starts, durations, strict=True)]
        turned = self.back.place(sorted(reversed(order), key=lambda j: -ends[j]), check=True)
        begins = [-(s + d) for s, d in zip(turned, durations, strict=True)]
        starts = self.ahead.place(sorted(order, key=begins.__getitem__), check=True)
        self.offer(starts)

    def offer(self, starts: list[int]) -> None:
        """Take a plan into the population."""
        length = max((s + d for s, d in zip(starts, self.project.durations, strict=True)), default=0)
        if length < self.length:
            self.best, self.length = list(starts), length
        order = self.ahead.sorted_by([float(s) for s in starts])
        if all(order != other for n, other in self.people if n == length):
            self.people.append((length, order))
            if len(self.people) > POPULATION:
                self.people.remove(max(self.people, key=lambda person: person[0]))

    def run(self, bound: int, clock: Callable[[], float] | None, until: float, schedules: int) -> None:
        """Cross and mutate until the bound, the time or the number of plans is reached."""
        tried = 0
        while self.length > bound and (clock() < until if clock else tried < schedules):
            one, two = self.rng.choice(len(self.people), 2, replace=len(self.people) < 2)
            child = self._crossed(self.people[int(one)][1], self.people[int(two)][1])
            self.try_order(self._mutated(child))
            tried += 1
            if tried % 400 == 0:  # a population of one family finds nothing more
                self.people = self.people[-POPULATION // 3 :]
                self.start(bound)

    def _crossed(self, one: list[int], two: list[int]) -> list[int]:
        a, b = sorted(self.rng.integers(0, len(one) + 1, 2).tolist())
        head = one[:a]
        taken = set(head)
        middle = [j for j in two if j not in taken][: b - a]
        taken.update(middle)
        return [*head, *middle, *(j for j in one if j not in taken)]

    def _mutated(self, order: list[int]) -> list[int]:
        for k in np.flatnonzero(self.rng.random(max(len(order) - 1, 0)) < 0.05).tolist():
            if order[k] not in self.ahead.waits_for[order[k + 1]]:
                order[k], order[k + 1] = order[k + 1], order[k]
        return order


class _Placer:
    """Serial placing: each job at the first moment with room, resources packed into one number.

    Each resource has a field of bits with a guard bit on top; one subtraction then tells for all
    resources whether a period has room.
    """

    def __init__(self, project: Project) -> None:
        self.project = project
        self.waits_for = [frozenset(row) for row in project.after]
        widths = [capacity.bit_length() + 1 for capacity in project.capacities]
        shifts = [sum(widths[:r]) for r in range(len(widths))]
        self.full = sum(c << s for c, s in zip(project.capacities, shifts, strict=True))
        self.guards = sum(1 << (s + w - 1) for s, w in zip(shifts, widths, strict=True))
        self.demand = [
            sum(u << s for u, s in zip(row, shifts, strict=True))
            for row in (project.demands or tuple(() for _ in project.durations))
        ]
        self.horizon = sum(project.durations) + 1

    def sorted_by(self, rank: Sequence[float]) -> list[int]:
        """Jobs by rank, each after what it waits for."""
        from heapq import heapify, heappop, heappush

        waits = [len(row) for row in self.waits_for]
        behind: list[list[int]] = [[] for _ in waits]
        for j, row in enumerate(self.waits_for):
            for i in row:
                behind[i].append(j)
        ready = [(rank[j], j) for j, count in enumerate(waits) if not count]
        heapify(ready)
        order = []
        while ready:
            _, i = heappop(ready)
            order.append(i)
            for j in behind[i]:
                waits[j] -= 1
                if not waits[j]:
                    heappush(ready, (rank[j], j))
        return order

    def place(self, order: Sequence[int], *, check: bool = False) -> list[int]:
        """Starts when the jobs are placed in this order.

        Parameters
        ----------
        order
            All jobs.
        check
            The order may put a job of no length before what it waits for; mend that first.

        Returns
        -------
        list
            Starts.
        """
        if check:
            place = [0.0] * len(order)
            for n, j in enumerate(order):
                place[j] = n
            order = self.sorted_by(place)
        durations, after, guards = self.project.durations, self.project.after, self.guards
        starts = [0] * len(durations)
        ends = [0] * len(durations)
        room = [self.full | guards] * self.horizon
        for j in order:
            at = 0
            for i in after[j]:
                if ends[i] > at:
                    at = ends[i]
            duration, demand = durations[j], self.demand[j]
            if demand and duration:
                t = at + duration - 1
                while t >= at:
                    if (room[t] - demand) & guards != guards:
                        at = t + 1
                        t = at + duration
                    t -= 1
                for t in range(at, at + duration):
                    room[t] -= demand
            starts[j] = at
            ends[j] = at + duration
        return starts
