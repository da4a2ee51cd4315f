"""The best list for the hours at hand: exact choice, then an order that keeps every limit."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from operator import add, le

from driveout.errors import BadEntry
from driveout.yard.job import DAYLIGHT, HELPER, NEED_WORDS, NEEDS, RENTAL, Job

GRID_MINUTES = 5
#: so many ways of spending the hours are kept side by side; more than a garage has
MOST_STATES = 60_000
#: a thing that moves no money still goes before an idle hour
_SOMETHING_DONE = 1e-3


@dataclass(frozen=True)
class Hours:
    """The time at hand, from now on.

    Parameters
    ----------
    minutes
        Own time there is. [min]
    daylight, helper, rental
        Minutes from now until daylight ends, the helper leaves, the rented tool goes back; 0 when
        there is none. [min]
    """

    minutes: float
    daylight: float = 0.0
    helper: float = 0.0
    rental: float = 0.0

    def __post_init__(self) -> None:
        for name in ("minutes", "daylight", "helper", "rental"):
            value = getattr(self, name)
            if not 0.0 <= value <= 1440.0:
                raise BadEntry(
                    f"{value:g} minutes do not fit into a day.",
                    field=name,
                    value=value,
                    allowed="0 to 1440 min",
                )

    def until(self, needs: frozenset[str]) -> float:
        """Minutes from now by which work with these needs must be over. [min]."""
        limits = {DAYLIGHT: self.daylight, HELPER: self.helper, RENTAL: self.rental}
        return min([self.minutes, *(limits[need] for need in needs)])


@dataclass(frozen=True)
class Placed:
    """One thing of the list: from when to when, counted from now. [min]."""

    job: Job
    begins: float
    ends: float


@dataclass(frozen=True)
class Left:
    """Something that is not on the list, and why."""

    job: Job
    why: str


@dataclass(frozen=True)
class Today:
    """The list for the hours at hand.

    Parameters
    ----------
    placed
        What to do, in order.
    left
        What stays, most worth an hour first.
    worth
        What the whole list is worth against doing nothing today. [minor units]
    is_exact
        Whether no other list can be worth more.
    """

    placed: tuple[Placed, ...]
    left: tuple[Left, ...]
    worth: float
    is_exact: bool = True

    @property
    def minutes(self) -> float:
        """Own time of the list. [min]."""
        return sum(one.job.minutes for one in self.placed)


def today_list(jobs: Sequence[Job], hours: Hours) -> Today:
    """Choose and order what to do in the hours at hand.

    The most worth that fits: every thing on the list has everything it waits for before it, and
    is over before its daylight, helper or rented tool is gone. Durations are rounded up to five
    minutes.

    Parameters
    ----------
    jobs
        All that could be done now, any order.
    hours
        The time at hand.

    Returns
    -------
    Today
        What to do in order, what stays and why.

    Raises
    ------
    BadEntry
        If two things have one key, or something waits for itself.

    References
    ----------
    jackson-1955 (earliest limit first keeps all limits if any order does); own-reasoning,
    docs/method/yard.md.
    """
    by_key = {job.key: job for job in jobs}
    if len(by_key) < len(jobs):
        raise BadEntry("Two things to do have the same key.", field="jobs", value=len(jobs))
    chains = _chains(jobs, by_key)
    limits = sorted({_grid_down(hours.until(job.needs)) for job in jobs} | {_grid_down(hours.minutes)})
    states: dict[tuple[int, ...], tuple[float, tuple[Job, ...]]] = {(0,) * len(limits): (0.0, ())}
    exact = True
    for chain in chains:
        options = _options(chain, by_key, hours, limits)
        grown: dict[tuple[int, ...], tuple[float, tuple[Job, ...]]] = {}
        for load, (worth, chosen) in states.items():
            for more, gain, some in options:
                now = tuple(map(add, load, more))
                if not all(map(le, now, limits)):
                    continue
                if now not in grown or worth + gain > grown[now][0] + 1e-9:
                    grown[now] = (worth + gain, chosen + some)
        states = _undominated(grown)
        if len(states) > MOST_STATES:
            exact = False
            states = dict(sorted(states.items(), key=lambda kept: -kept[1][0])[:MOST_STATES])
    _, chosen = max(states.values(), key=lambda kept: kept[0])
    worth = sum(job.worth for job in chosen)
    placed = _in_order(chosen, by_key, hours)
    names = {job.key for job in chosen}
    left = [Left(job, _why_left(job, names, by_key, hours)) for job in jobs if job.key not in names]
    left.sort(key=lambda one: -one.job.worth_per_hour)
    return Today(placed, tuple(left), worth, exact)


def _grid_up(minutes: float) -> int:
    return math.ceil(minutes / GRID_MINUTES - 1e-9)


def _grid_down(minutes: float) -> int:
    return math.floor(minutes / GRID_MINUTES + 1e-9)


def _chains(jobs: Sequence[Job], by_key: dict[str, Job]) -> list[list[Job]]:
    """Groups of things that hang together, each in an order that keeps what must come before."""
    parent = {job.key: job.key for job in jobs}

    def root(key: str) -> str:
        while parent[key] != key:
            parent[key] = parent[parent[key]]
            key = parent[key]
        return key

    for job in jobs:
        for earlier in job.after:
            if earlier in by_key:
                parent[root(job.key)] = root(earlier)
    groups: dict[str, list[Job]] = defaultdict(list)
    for job in jobs:
        groups[root(job.key)].append(job)
    return [_sorted(group) for group in groups.values()]


def _sorted(group: list[Job]) -> list[Job]:
    waiting, done, found = list(group), set[str](), list[Job]()
    own = {job.key for job in group}
    while waiting:
        ready = [job for job in waiting if all(key in done for key in job.after if key in own)]
        if not ready:
            raise BadEntry(
                "These wait for each other: " + ", ".join(job.what for job in waiting) + ".",
                field="after",
                value=waiting[0].key,
            )
        found.append(ready[0])
        done.add(ready[0].key)
        waiting.remove(ready[0])
    return found


_Option = tuple[tuple[int, ...], float, tuple[Job, ...]]


def _options(chain: list[Job], by_key: dict[str, Job], hours: Hours, limits: list[int]) -> list[_Option]:
    """Every part of a group that can be done by itself: its load up to each limit and its worth."""
    sets: list[frozenset[str]] = [frozenset()]
    for job in chain:
        # A thing that waits for one not among the jobs (a part, a cure) cannot be done today.
        if any(key not in by_key for key in job.after):
            continue
        needed = frozenset(job.after)
        sets += [some | {job.key} for some in sets if needed <= some and _short(some, job, by_key, hours)]
    found: list[_Option] = []
    for some in sets:
        chosen = tuple(job for job in chain if job.key in some)
        over = _limits_of(chosen, hours)
        load = tuple(
            sum(_grid_up(job.minutes) for job in chosen if _grid_down(over[job.key]) <= limit)
            for limit in limits
        )
        if all(map(le, load, limits)):
            found.append((load, sum(job.worth + _SOMETHING_DONE for job in chosen), chosen))
    return found


def _short(some: frozenset[str], job: Job, by_key: dict[str, Job], hours: Hours) -> bool:
    taken = sum(_grid_up(by_key[key].minutes) for key in some) + _grid_up(job.minutes)
    return taken <= _grid_down(hours.minutes)


def _limits_of(chosen: Sequence[Job], hours: Hours) -> dict[str, float]:
    """By when each must be over, so that those after it can keep their own limits."""
    over = {job.key: hours.until(job.needs) for job in chosen}
    for job in reversed(chosen):
        for earlier in job.after:
            if earlier in over:
                over[earlier] = min(over[earlier], over[job.key])
    return over


def _undominated(
    states: dict[tuple[int, ...], tuple[float, tuple[Job, ...]]],
) -> dict[tuple[int, ...], tuple[float, tuple[Job, ...]]]:
    """Leave out what takes no less time than another and is worth no more (loads compared by the last)."""
    if len(states) < 400:
        return states
    best: dict[tuple[int, ...], tuple[float, tuple[Job, ...]]] = {}
    front: list[tuple[tuple[int, ...], float]] = []
    for load, kept in sorted(states.items(), key=lambda item: (-item[1][0], sum(item[0]))):
        if any(all(a <= b for a, b in zip(one, load, strict=True)) for one, _ in front[:200]):
            continue
        front.append((load, kept[0]))
        best[load] = kept
    return best


def _in_order(chosen: Sequence[Job], by_key: dict[str, Job], hours: Hours) -> tuple[Placed, ...]:
    """Earliest limit first; with equal limits first what starts a wait, then most worth an hour."""
    over = _limits_of(chosen, hours)
    lifted = _lifted(chosen)
    waiting, done, placed, clock = list(chosen), set[str](), list[Placed](), 0.0
    names = {job.key for job in chosen}
    while waiting:
        ready = [job for job in waiting if all(key in done or key not in names for key in job.after)]
        job = min(
            ready, key=lambda one: (_grid_down(over[one.key]), -lifted[one.key][0], -lifted[one.key][1])
        )
        placed.append(Placed(job, clock, clock + job.minutes))
        clock += job.minutes
        done.add(job.key)
        waiting.remove(job)
    return tuple(placed)


def _lifted(chosen: Sequence[Job]) -> dict[str, tuple[float, float]]:
    """Wait started and worth an hour, each at least that of what comes after it."""
    found = {job.key: (job.starts_wait_hours, job.worth_per_hour) for job in chosen}
    for job in reversed(chosen):
        for earlier in job.after:
            if earlier in found:
                found[earlier] = (
                    max(found[earlier][0], found[job.key][0]),
                    max(found[earlier][1], found[job.key][1]),
                )
    return found


def _why_left(job: Job, chosen: set[str], by_key: dict[str, Job], hours: Hours) -> str:
    if blocked := [key for key in job.after if key not in by_key]:
        return f"waits for {blocked[0]}"
    gone = [need for need in NEEDS if need in job.needs and hours.until(frozenset({need})) < job.minutes]
    if gone:
        return f"needs {NEED_WORDS[gone[0]]}, and there is not enough of it today"
    if job.minutes > hours.minutes:
        return "takes longer than the hours at hand"
    if any(key not in chosen for key in job.after):
        return "comes after something that is not on the list"
    if job.worth <= 0:
        return "moves no money; do it when there is time"
    return "does not fit beside what is worth more"
