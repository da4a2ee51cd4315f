"""A car's plan of days: its strip plans, other chosen repairs, parts on their way, rented tools."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from driveout.errors import BadEntry
from driveout.parts import Part
from driveout.repairs.catalogue import PartChoice, Repair, Tool
from driveout.uncertain import ThreePoint, fitted
from driveout.workshop import StripPlan, Task
from driveout.workshop.calendar import WEEKDAYS, WorkCalendar, merged
from driveout.workshop.finish import Session
from driveout.workshop.plan import NOBODY, After, Arrival, Hidden, Operation, Plan, Rental, operations_of
from driveout.workshop.plan_file import read_plan

DAY_MINUTES = 1440.0
DELIVERED_AT = datetime.time(17)
"""A parcel expected for a day counts as here at this hour; common practice, no source."""
PARCEL_LATE_DAYS = ThreePoint(0.0, 0.5, 3.0)
"""Days by which an ordered part comes later than its offer said; common practice, no source."""


@dataclass(frozen=True)
class FreeHours:
    """When the person can work, as typed: stretches such as ``18:00-21:00``.

    Parameters
    ----------
    week
        Stretches by English weekday name in lower case.
    helper
        The helper's, by weekday name or by day (``2026-05-09``).
    daylight
        Stretch of every day in which outdoor steps and road tests are done; empty for no limit.
    off
        Days without work, ISO.
    days
        How many days ahead are planned.
    rented
        Tools that are rented by the day.
    """

    week: Mapping[str, Sequence[str]]
    helper: Mapping[str, Sequence[str]]
    daylight: str = ""
    off: tuple[str, ...] = ()
    days: int = 90
    rented: tuple[str, ...] = ()

    @classmethod
    def of(cls, kept: Mapping[str, object]) -> FreeHours:
        """From the plain values that are kept."""
        known = {
            name: kept[name]
            for name in ("week", "helper", "daylight", "off", "days", "rented")
            if name in kept
        }
        return cls(**{**known, "off": tuple(known.get("off", ())), "rented": tuple(known.get("rented", ()))})  # type: ignore[arg-type]

    def as_dict(self) -> dict[str, object]:
        """Plain values."""
        return {**vars(self), "off": list(self.off), "rented": list(self.rented)}


def hours_a_week(hours: FreeHours) -> float:
    """Own hours of an ordinary week as typed. [h/week]."""
    minutes = 0
    for stretches in hours.week.values():
        for stretch in stretches:
            begins, ends = (text.strip().split(":") for text in stretch.split("-"))
            minutes += max(int(ends[0]) * 60 + int(ends[1]) - int(begins[0]) * 60 - int(begins[1]), 0)
    return minutes / 60.0


def calendar_of(hours: FreeHours, start: datetime.datetime) -> WorkCalendar:
    """The calendar from what was typed.

    Parameters
    ----------
    hours
        As typed.
    start
        Now, local time.

    Returns
    -------
    WorkCalendar
        With windows ``helper`` when helper's hours were typed, and ``daylight``.

    Raises
    ------
    BadEntry
        Naming the field and the stretch that cannot be read.
    """
    named: dict[str, object] = {}
    if hours.helper:
        named["helper"] = {"week": {day: list(rows) for day, rows in hours.helper.items() if day in WEEKDAYS}}
        dates = {day: list(rows) for day, rows in hours.helper.items() if day not in WEEKDAYS}
        named["helper dates"] = {"dates": dates}
    if hours.daylight:
        named["daylight"] = {"every_day": [hours.daylight]}
    calendar = {
        "days": hours.days,
        "week": {day: list(rows) for day, rows in hours.week.items()},
        "changed": {day: [] for day in hours.off},
        "named": named,
    }
    read = _calendar(json.dumps(calendar), start.date())
    if not hours.helper:
        return read
    # A Saturday that is over needs no word, a single date that is over does.
    others = dict(read.others)
    dated = others.pop("helper dates")
    others["helper"] = merged([*read.from_start(start).others["helper"], *dated])
    return replace(read, others=others)


@lru_cache(maxsize=32)
def _calendar(words: str, day: datetime.date) -> WorkCalendar:
    whole = {
        "schema": "driveout-plan/1",
        "start": day.isoformat(),
        "calendar": json.loads(words),
        "work": [{"id": "any"}],
    }
    return read_plan(json.dumps(whole), "free hours").calendar


@dataclass(frozen=True)
class JobInPlan:
    """A strip plan that is under way: number of the job, plan, and when each finished task was done."""

    number: int
    plan: StripPlan
    done: Mapping[str, datetime.datetime]


@dataclass(frozen=True)
class RepairInPlan:
    """A chosen repair, the kind of part, and the number of the job that carries it; 0 when none does."""

    repair: Repair
    part: PartChoice
    job: int = 0


def plan_of_car(
    title: str,
    currency: str,
    start: datetime.datetime,
    calendar: WorkCalendar,
    jobs: Sequence[JobInPlan],
    repairs: Sequence[RepairInPlan],
    parts: Sequence[Part],
    rented: Sequence[Tool] = (),
) -> Plan:
    """Everything the dates of one car follow from.

    Parameters
    ----------
    title
        Name of the car.
    currency
        Of the rented tools.
    start
        Now, local time.
    calendar
        Free hours.
    jobs
        Strip plans under way.
    repairs
        Chosen repairs that are not done.
    parts
        The car's list of parts; what is only needed counts as ordered now, with the lead time of
        its repair.
    rented
        Tools rented by the day; they are needed from the lift to its mirror on the way back.

    Returns
    -------
    Plan
        Ready to be put into days.

    References
    ----------
    own-reasoning, docs/method/repairs.md.
    """
    operations: list[Operation] = []
    done: dict[str, datetime.datetime] = {}
    for job in jobs:
        mine = [one for one in repairs if one.job == job.number]
        operations += _job_operations(job, mine, parts, calendar, rented)
        done |= {f"{job.number}:{task}": at for task, at in job.done.items()}
    for one in repairs:
        if not one.job:
            operations += _whole_repair(one, parts)
    known = {operation.id for operation in operations}
    return Plan(
        start=start,
        calendar=calendar,
        operations=tuple(operations),
        arrivals=tuple(
            _arrival(part, repairs, start) for part in parts if part.state in ("needed", "ordered")
        ),
        rentals=tuple(
            Rental(tool.id, tool.id.replace("_", " "), round(tool.rent_per_day.likely))
            for tool in rented
            if tool.rent_per_day
        ),
        title=title,
        currency=currency,
        done={name: at for name, at in done.items() if name in known},
    )


def _job_operations(
    job: JobInPlan,
    repairs: Sequence[RepairInPlan],
    parts: Sequence[Part],
    calendar: WorkCalendar,
    rented: Sequence[Tool],
) -> list[Operation]:
    lead = f"{job.number}:"
    built = {
        operation.id: _as_built(operation, task, job.plan, calendar)
        for operation, task in zip(operations_of(job.plan, str(job.number)), job.plan.tasks, strict=True)
    }
    waits: list[Operation] = []
    back = next((t.id for t in job.plan.tasks if t.phase in ("refit", "finish")), "")
    for one in repairs:
        own = [f"repair:{target}" for target in one.repair.targets]
        fitted_at = next((name for name in own if lead + name in built), back)
        if not fitted_at:
            continue
        at = built[lead + fitted_at]
        coming = tuple(str(p.id) for p in _on_their_way(parts, one.repair))
        after = at.after
        for n, wait in enumerate(one.repair.waits, start=1):
            name = f"{lead}wait:{one.repair.id}:{n}"
            waits.append(_wait(name, wait.what, wait.days, at.after))
            after = (*after, After(name))
        built[lead + fitted_at] = replace(at, parts=(*at.parts, *coming), after=after)
        for tool in rented:
            if tool.id in one.repair.tools:
                for name in _lifting(job.plan):
                    if lead + name in built:
                        built[lead + name] = replace(built[lead + name], rental=tool.id)
    return [*built.values(), *waits]


def _as_built(operation: Operation, task: Task, plan: StripPlan, calendar: WorkCalendar) -> Operation:
    """With the chance of a seized piece as such, and road tests by daylight where that was typed."""
    link = plan.assembly.links.get(task.item)
    if task.kind == "undo" and link and link.seize_chance:
        sure = link.off_minutes
        more = ThreePoint(*link.seize_minutes)
        return replace(
            operation, minutes=sure, hidden=Hidden(link.seize_chance, fitted(more, "bounded", 0.0))
        )
    step = plan.assembly.steps.get(task.item)
    if step and step.when == "road_test" and "daylight" in calendar.others:
        return replace(operation, only_in=(*operation.only_in, "daylight"))
    return operation


def _lifting(plan: StripPlan) -> list[str]:
    lifts = [step.id for step in plan.assembly.steps.values() if step.lifts]
    return [f"{way}:{step}" for step in lifts for way in ("do", "back")]


def _whole_repair(one: RepairInPlan, parts: Sequence[Part]) -> list[Operation]:
    """A repair without a strip plan: its own hours in one line, then what has to wait."""
    repair = one.repair
    coming = tuple(str(part.id) for part in _on_their_way(parts, repair))
    if one.part.kind == "outside":
        return [_wait(f"repair:{repair.id}", f"{repair.name} (outside)", one.part.lead_days, ())]
    minutes = [
        60.0 * one.part.hours_share * h for h in (repair.hours.low, repair.hours.likely, repair.hours.high)
    ]
    work = Operation(
        id=f"repair:{repair.id}",
        name=repair.name,
        minutes=minutes[1],
        parts=coming,
        spread=None if minutes[0] == minutes[2] else fitted(ThreePoint(*minutes), "bounded", 0.0),
        only_in=("helper",) if repair.helper == "needed" else (),
    )
    return [
        work,
        *(
            _wait(f"wait:{repair.id}:{n}", f"{repair.name}: {wait.what}", wait.days, (After(work.id),))
            for n, wait in enumerate(repair.waits, start=1)
        ),
    ]


def _wait(name: str, words: str, days: ThreePoint, after: tuple[After, ...]) -> Operation:
    minutes = ThreePoint(*(DAY_MINUTES * d for d in (days.low, days.likely, days.high)))
    spread = None if minutes.is_sure else fitted(minutes, "bounded", 0.0)
    return Operation(id=name, name=words, minutes=minutes.likely, after=after, who=NOBODY, spread=spread)


def _on_their_way(parts: Sequence[Part], repair: Repair) -> list[Part]:
    return [p for p in parts if p.line.key == repair.id and p.state in ("needed", "ordered")]


def _arrival(part: Part, repairs: Sequence[RepairInPlan], start: datetime.datetime) -> Arrival:
    """When a part is here: on the day its offer named, or after the usual lead time if ordered now."""
    name, what = str(part.id), part.line.what
    if part.state == "ordered" and part.expected_on:
        at = datetime.datetime.combine(part.expected_on, DELIVERED_AT)
        return Arrival(name, what, at, fitted(PARCEL_LATE_DAYS, "bounded"))
    usual = next((one.part.lead_days for one in repairs if one.repair.id == part.line.key), None)
    if usual is None:
        return Arrival(name, what)
    at = start + datetime.timedelta(days=usual.likely)
    if usual.is_sure:
        return Arrival(name, what, at)
    late = ThreePoint(usual.low - usual.likely, 0.0, usual.high - usual.likely)
    return Arrival(name, what, at, fitted(late, "bounded"))


def typed_stretches(field: str, words: str) -> list[str]:
    """Stretches of one day as typed, separated by commas; each is read once to see that it can be."""
    rows = [row.strip() for row in words.replace(";", ",").split(",") if row.strip()]
    for row in rows:
        try:
            _calendar(json.dumps({"week": {"monday": [row]}}), datetime.date(2026, 1, 5))
        except BadEntry as error:
            raise BadEntry(
                f"{row!r} is not a stretch of the day.", field=field, value=words, allowed="18:00-21:00"
            ) from error
    return rows


def session_words(session: Session) -> str:
    """The evening by which something is done, in words."""
    day = f"{session.day:%A} {session.day.day} {session.day:%B}"
    if session.is_past_calendar:
        return f"after {day}, where the calendar ends"
    if session.begins is None or session.ends is None:
        return day
    return f"{day} ({session.begins:%H:%M}-{session.ends:%H:%M})"
