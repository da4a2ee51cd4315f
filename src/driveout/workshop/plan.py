"""A plan of work: operations, what each waits for, parts on their way, rented things, what is done."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from driveout.errors import BadEntry
from driveout.uncertain.laws import Law
from driveout.workshop.access import strong_parts
from driveout.workshop.calendar import WorkCalendar
from driveout.workshop.strip import StripPlan, Task

ME, NOBODY = "me", "nobody"
GRID_MINUTES = 5


@dataclass(frozen=True)
class After:
    """An operation waits for another one.

    Parameters
    ----------
    operation
        Id of the earlier one.
    wait_minutes
        Clock time between its end and the start of the later one: cure, drain, cool, courier.
        Runs through the night, nobody works on it. [min]
    """

    operation: str
    wait_minutes: float = 0.0


@dataclass(frozen=True)
class Hidden:
    """Something that may turn up during an operation, such as a seized bolt.

    Parameters
    ----------
    chance
        Probability, 0 to 1.
    more
        Law of the extra minutes when it does.
    """

    chance: float
    more: Law


@dataclass(frozen=True)
class Operation:
    """One piece of work.

    Parameters
    ----------
    id
        Its name in the plan.
    name
        What to do, in words.
    minutes
        Likely duration: worked minutes, or clock minutes when nobody works on it. [min]
    after
        What it waits for.
    is_splittable
        May be left overnight and gone on with; False for paint or an engine on the hoist.
    only_in
        Named windows of the calendar that it is bound to (``helper``, ``daylight``).
    parts
        Parts that must have arrived.
    rental
        Rented thing that it uses; empty for none.
    who
        ``me``; ``nobody`` for a wait; or a named window whose person does it alone.
    spread
        Law of the minutes for the finish chances; None when they are sure.
    hidden
        What may turn up.
    """

    id: str
    name: str = ""
    minutes: float = 0.0
    after: tuple[After, ...] = ()
    is_splittable: bool = True
    only_in: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    rental: str = ""
    who: str = ME
    spread: Law | None = None
    hidden: Hidden | None = None

    @property
    def title(self) -> str:
        """Its words, or its id when it has none."""
        return self.name or self.id


@dataclass(frozen=True)
class Arrival:
    """A part on its way.

    Parameters
    ----------
    id
        Its name in the plan.
    name
        What it is.
    at
        When it is expected, local time; None when nobody knows.
    late_days
        Law of the days by which it comes later than ``at`` (under 0: earlier); None when sure.
    """

    id: str
    name: str = ""
    at: datetime.datetime | None = None
    late_days: Law | None = None


@dataclass(frozen=True)
class Rental:
    """A thing rented by the day, from its first use to its last.

    Parameters
    ----------
    id
        Its name in the plan.
    name
        What it is.
    cost_per_day
        Minor units of the plan's currency for each calendar day.
    """

    id: str
    name: str = ""
    cost_per_day: int = 0


@dataclass(frozen=True)
class Plan:
    """Everything the dates of one car follow from.

    Parameters
    ----------
    start
        Now, local time; nothing can be planned before it.
    calendar
        Free hours and named windows.
    operations
        The work.
    arrivals
        Parts on their way.
    rentals
        Things rented by the day.
    title
        Of the plan.
    currency
        ISO 4217 code of the two costs.
    holding_per_day
        What each day until the finish costs, minor units.
    grid_minutes
        Steps of the plan; durations and waits are rounded up to it. [min]
    done
        Operations that are finished, and when.
    left_minutes
        Operations that are begun, and the minutes left. [min]
    """

    start: datetime.datetime
    calendar: WorkCalendar
    operations: tuple[Operation, ...]
    arrivals: tuple[Arrival, ...] = ()
    rentals: tuple[Rental, ...] = ()
    title: str = ""
    currency: str = "USD"
    holding_per_day: int = 100
    grid_minutes: int = GRID_MINUTES
    done: Mapping[str, datetime.datetime] = field(default_factory=dict)
    left_minutes: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def by_id(self) -> Mapping[str, Operation]:
        """Operations by id."""
        return {operation.id: operation for operation in self.operations}

    @cached_property
    def arrival(self) -> Mapping[str, Arrival]:
        """Parts by id."""
        return {part.id: part for part in self.arrivals}

    def minutes(self, operation: Operation) -> float:
        """Minutes that are still to be spent on an operation."""
        return self.left_minutes.get(operation.id, operation.minutes)


def what_holds(plan: Plan) -> tuple[tuple[Operation, ...], tuple[BadEntry, ...]]:
    """Sort out what of a plan can be put into days.

    Parameters
    ----------
    plan
        The person's plan, good or not.

    Returns
    -------
    tuple
        Open operations that can be planned, each after what it waits for; and what is wrong with
        the others, in words, with what hangs on them.
    """
    troubles = _past_dates(plan)
    wrong: dict[str, str] = {}
    for operation in plan.operations:
        if operation.id not in plan.done and (fault := _fault_of(plan, operation)):
            wrong[operation.id] = fault
    wrong |= _circles(plan, set(wrong))
    for name, message in wrong.items():
        troubles.append(BadEntry(message, field=name, value=plan.by_id[name].title))
    order, held = _forward(plan, set(wrong))
    for name, holder in held.items():
        troubles.append(
            BadEntry(
                f"{plan.by_id[name].title} has no date yet: it waits for {plan.by_id[holder].title}.",
                field=name,
                value=plan.by_id[name].title,
            )
        )
    return order, tuple(troubles)


def _past_dates(plan: Plan) -> list[BadEntry]:
    now = plan.calendar.clock(plan.start)
    troubles = []
    for name, windows in plan.calendar.others.items():
        # Daily windows begin with the calendar; a date that was typed in singly and is over is worth a word.
        over = [begin for begin, end in windows if end <= now]
        if over and (name == "helper" or len(over) == len(windows)):
            days = ", ".join(sorted({plan.calendar.day(begin).isoformat() for begin in over})[:3])
            troubles.append(
                BadEntry(
                    f"Hours of {name} on {days} are over; they are not counted. Type a date from "
                    f"{plan.start.date().isoformat()} on.",
                    field=name,
                    value=days,
                )
            )
    return troubles


def _fault_of(plan: Plan, operation: Operation) -> str:
    """Why an operation cannot be planned by itself; empty when it can."""
    title, minutes = operation.title, plan.minutes(operation)
    if not (math.isfinite(minutes) and minutes >= 0):
        return f"{title} takes {minutes:g} minutes; 0 or more was expected. Type its time again."
    for after in operation.after:
        if after.operation not in plan.by_id:
            return (
                f"{title} waits for {after.operation!r}, which is not in the plan. "
                "Add it, or take the wait off."
            )
        if not (math.isfinite(after.wait_minutes) and after.wait_minutes >= 0):
            return f"{title} waits {after.wait_minutes:g} minutes after {after.operation}; 0 or more was expected."
    for name in operation.parts:
        part = plan.arrival.get(name)
        if part is None or part.at is None:
            what = part.name if part and part.name else name
            return (
                f"{title} waits for a part without an arrival date: {what}. "
                "Type the date, or plan the work with another part."
            )
    return _no_room(plan, operation, minutes)


def _no_room(plan: Plan, operation: Operation, minutes: float) -> str:
    if operation.who == NOBODY:
        return ""
    try:
        windows = [
            plan.calendar.from_start(plan.start).windows(name) for name in (operation.who, *operation.only_in)
        ]
    except BadEntry as error:
        return f"{operation.title}: {error.message}"
    for name, found in zip((operation.who, *operation.only_in), windows, strict=True):
        if not found:
            return (
                f"{operation.title} needs hours of {name}, and none are left from "
                f"{plan.start.date().isoformat()} on. Add some."
            )
    longest = min(max(end - begin for begin, end in found) for found in windows)
    if not operation.is_splittable and minutes > longest:
        return (
            f"{operation.title} takes {minutes:g} minutes in one go, and the longest free stretch is "
            f"{longest} minutes. Free a longer stretch, or split the work."
        )
    return ""


def _circles(plan: Plan, wrong: set[str]) -> dict[str, str]:
    number = {o.id: n for n, o in enumerate(plan.operations)}
    arcs = {
        number[o.id]: [number[a.operation] for a in o.after if a.operation in number]
        for o in plan.operations
        if o.id not in plan.done and o.id not in wrong
    }
    found: dict[str, str] = {}
    for part in strong_parts(arcs):
        if len(part) > 1 or part[0] in arcs[part[0]]:
            members = [plan.operations[n] for n in sorted(part)]
            names = " and ".join(o.title for o in members[:6]) + (" and more" if len(members) > 6 else "")
            word = "wait for each other" if len(members) > 1 else "waits for itself"
            for member in members:
                found[member.id] = f"{names} {word} in a circle. Take one of the waits off."
    return found


def _forward(plan: Plan, wrong: set[str]) -> tuple[tuple[Operation, ...], dict[str, str]]:
    """Open operations in an order that keeps what they wait for, and who holds the others."""
    state: dict[str, str | None] = dict.fromkeys(plan.done) | {name: name for name in wrong}
    order: list[Operation] = []
    held: dict[str, str] = {}
    todo = [o for o in plan.operations if o.id not in state]
    while todo:
        rest = []
        for operation in todo:
            names = [a.operation for a in operation.after]
            if any(name not in state for name in names):
                rest.append(operation)
                continue
            holder = next((state[name] for name in names if state[name] is not None), None)
            state[operation.id] = holder
            if holder is None:
                order.append(operation)
            else:
                held[operation.id] = holder
        if len(rest) == len(todo):
            break
        todo = rest
    return tuple(order), held


def operations_of(strip_plan: StripPlan, prefix: str = "") -> tuple[Operation, ...]:
    """Turn the tasks of a strip plan into operations with what each waits for.

    On the way in a task waits for what had to be out of its way; the repair waits for all of
    the way in; on the way back tasks are taken one after the other, and a hold point before an
    event lets nothing later pass. A wait of the strip plan is nobody's work and runs through the
    night. Pieces that lift need not be done in one go here: say so with ``is_splittable`` where
    the work cannot be left.

    Parameters
    ----------
    strip_plan
        What to undo, mend and refit.
    prefix
        Put before each id and a colon, so that several car areas fit into one plan.

    Returns
    -------
    tuple
        Operations in the order of the tasks.

    References
    ----------
    own-reasoning, docs/method/schedule.md.
    """
    lead = f"{prefix}:" if prefix else ""
    way_in = [task for task in strip_plan.tasks if task.phase == "strip"]
    before = _needs_in(strip_plan, way_in)
    waited_for = {name for names in before.values() for name in names}
    gate = [task.id for task in way_in if task.id not in waited_for]
    for task in strip_plan.tasks:
        if task.phase != "strip":
            before[task.id] = list(gate)
            gate = [task.id]
    return tuple(
        Operation(
            id=lead + task.id,
            name=task.text,
            minutes=task.minutes,
            after=tuple(After(lead + name) for name in before[task.id]),
            is_splittable=not task.needs_helper,
            only_in=("helper",) if task.needs_helper else (),
            who=NOBODY if task.kind == "wait" else ME,
        )
        for task in strip_plan.tasks
    )


def _needs_in(strip_plan: StripPlan, way_in: list[Task]) -> dict[str, list[str]]:
    """What each task of the way in waits for; parts between two links carry the wait through."""
    carries: dict[str, list[str]] = {}
    last: dict[str, str] = {}
    for task in way_in:
        if task.kind != "hold":
            last[task.item] = task.id
    for item in strip_plan.released:
        needs: dict[str, None] = {}
        for need in strip_plan.because.get(item, ()):
            needs.update(dict.fromkeys([last[need]] if need in last else carries.get(need, [])))
        carries[item] = list(needs)
    before: dict[str, list[str]] = {}
    holds: dict[str, str] = {}
    for task in way_in:
        before[task.id] = list(carries.get(task.item, ()))
        if task.kind == "hold":
            holds[task.item] = task.id
        elif task.item in holds:
            before[task.id] = [holds[task.item]]
    return before
