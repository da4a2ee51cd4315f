"""The person's own plan of work as a file, ``driveout-plan/1``.

What has no sense in any plan (a word where a number belongs, a key that does not exist) is
refused with file, line and key. What a real plan may hold for a while (a part without a date, a
circle, a helper's date that is over) is read, planned as far as it goes and said with the plan.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import numpy as np

from driveout.errors import BadEntry, BadRows, CannotSay
from driveout.files import Document, yaml_document
from driveout.uncertain import ThreePoint, fitted
from driveout.uncertain.laws import Law
from driveout.units import minor_digits
from driveout.workshop.calendar import WEEKDAYS, Windows, WorkCalendar, merged, week_windows
from driveout.workshop.finish import SAMPLES, finish_as_data, finish_chances
from driveout.workshop.plan import ME, NOBODY, After, Arrival, Hidden, Operation, Plan, Rental
from driveout.workshop.schedule import plan_work, schedule_as_data

SCHEMA = "driveout-plan/1"
DAYS = 90
MOST_WORK = 500
GRIDS = (1, 5, 10, 15, 30)
_STRETCH = re.compile(r"(\d{1,2}):(\d\d)\s*[-–]\s*(\d{1,2}):(\d\d)")
Stretches = list[tuple[datetime.time, datetime.time]]


def read_plan(text: str | bytes, name: str = "plan") -> Plan:
    """Read the person's own plan.

    Parameters
    ----------
    text
        Content of a ``driveout-plan/1`` file (YAML or JSON), see docs/formats/plan.md.
    name
        File name for messages.

    Returns
    -------
    Plan
        Ready to be put into days.

    Raises
    ------
    BadEntry
        If the file is not readable.
    BadRows
        If entries are wrong; all of them together.
    """
    reader = _Reader(yaml_document(text, name, SCHEMA))
    plan = reader.plan()
    if reader.troubles:
        raise BadRows(reader.troubles)
    return plan


def plan_answer(
    plan: Plan, rng: np.random.Generator, *, seconds: float = 2.0, samples: int = SAMPLES
) -> dict[str, Any]:
    """Plan of days and chances of the finish, in JSON shape.

    Parameters
    ----------
    plan
        The person's plan.
    rng
        Where the draws come from.
    seconds
        Longest time of the exact solver. [s]
    samples
        Number of runs for the chances.

    Returns
    -------
    dict
        ``days`` (``driveout-plan-of-days/1``) and ``chances`` (``driveout-finish/1``; None when
        nothing has a date).
    """
    schedule = plan_work(plan, seconds=seconds)
    try:
        chances = finish_as_data(finish_chances(schedule, rng, samples=samples))
    except CannotSay:
        chances = None
    return {"days": schedule_as_data(schedule), "chances": chances}


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.troubles: list[BadEntry] = []

    def complain(self, path: tuple[Any, ...], message: str, **more: Any) -> None:
        self.troubles.append(self.document.bad(path, message, **more))

    def keys(self, path: tuple[Any, ...], row: Mapping[Any, Any], allowed: str) -> None:
        for key in row:
            if key not in allowed.split():
                self.complain(
                    (*path, key), f"The key {key!r} is not known here.", value=str(key), allowed=allowed
                )

    def mapping(self, path: tuple[Any, ...], value: Any) -> dict[Any, Any]:
        if value is None:
            return {}
        if not isinstance(value, dict):
            self.complain(path, f"{path[-1]} must hold keys and values.", value=str(value))
            return {}
        return value

    def number(self, path: tuple[Any, ...], value: Any, *, least: float | None = 0.0) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.complain(path, f"{value!r} is not a number.", value=str(value), allowed="a number")
            return 0.0
        if abs(value) > 1e6 or (least is not None and value < least):
            self.complain(
                path, f"{value:g} is out of range.", value=value, allowed=f"{least or 0:g} to 1000000"
            )
            return 0.0
        return float(value)

    def text(self, path: tuple[Any, ...], value: Any) -> str:
        if value is None:
            return ""
        if isinstance(value, dict | list) or len(str(value)) > 200:
            self.complain(path, "Plain text of at most 200 characters was expected.", value=str(value)[:60])
            return ""
        return str(value)

    def names(self, path: tuple[Any, ...], value: Any) -> tuple[str, ...]:
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(x, str | int) for x in value):
            self.complain(path, f"{value!r} is not a list of ids.", value=str(value), allowed="[id, id]")
            return ()
        return tuple(str(x) for x in value)

    def moment(self, path: tuple[Any, ...], value: Any) -> datetime.datetime | None:
        if isinstance(value, datetime.datetime):
            return value.replace(tzinfo=None)
        if isinstance(value, datetime.date):
            return datetime.datetime.combine(value, datetime.time())
        try:
            return datetime.datetime.fromisoformat(str(value).strip()).replace(tzinfo=None)
        except ValueError:
            self.complain(
                path,
                f"{value!r} is not a day or a day and hour.",
                value=str(value),
                allowed="2026-03-05 or 2026-03-05 15:00",
            )
            return None

    def day(self, path: tuple[Any, ...], value: Any) -> datetime.date | None:
        moment = self.moment(path, value)
        return moment.date() if moment else None

    def stretches(self, path: tuple[Any, ...], value: Any) -> Stretches:
        rows = value if isinstance(value, list) else [] if value is None else [value]
        found: Stretches = []
        for n, row in enumerate(rows):
            match = _STRETCH.fullmatch(str(row).strip())
            hours = [int(group) for group in match.groups()] if match else []
            if not hours or hours[0] > 23 or hours[2] > 24 or max(hours[1], hours[3]) > 59:
                self.complain(
                    (*path, n),
                    f"{row!r} is not a stretch of the day.",
                    value=str(row),
                    allowed='"18:00-21:00"',
                )
                continue
            found.append((datetime.time(hours[0], hours[1]), datetime.time(hours[2] % 24, hours[3])))
        return found

    def spread(self, path: tuple[Any, ...], value: Any, kind: str) -> tuple[float, Law | None]:
        """Likely value and law of ``n`` or ``[low, likely, high]``; a single number may be anything."""
        try:
            points = ThreePoint.of(value, str(path[-1]))
        except BadEntry as error:
            self.complain(path, error.message, value=str(value), allowed=error.allowed)
            return 0.0, None
        if points.is_sure:
            return points.likely, None
        floor = 0.0 if kind == "minutes" else None
        if floor is not None and points.low < 0:
            self.complain(path, f"{points.low:g} minutes is under 0.", value=points.low, allowed="0 or more")
            return 0.0, None
        return points.likely, fitted(points, "bounded", floor)

    def plan(self) -> Plan:
        data = self.document.data
        self.keys(
            (),
            data,
            "schema title currency start holding_per_day grid_minutes calendar parts rentals work done left_minutes",
        )
        start = self.moment(("start",), data.get("start")) or datetime.datetime.combine(
            datetime.date(2000, 1, 1), datetime.time()
        )
        currency = self.text(("currency",), data.get("currency", "USD"))
        digits = 2
        try:
            digits = minor_digits(currency)
        except BadEntry as error:
            self.complain(("currency",), error.message, value=currency)
        grid = data.get("grid_minutes", 5)
        if grid not in GRIDS or isinstance(grid, bool):
            self.complain(
                ("grid_minutes",),
                f"{grid!r} is not a step.",
                value=str(grid),
                allowed=", ".join(map(str, GRIDS)),
            )
            grid = 5
        calendar = self.calendar(start)
        rentals = self.rentals(digits)
        operations = self.operations({r.id for r in rentals}, {ME, NOBODY, *calendar.others})
        known = {o.id for o in operations}
        done = self.mapping(("done",), data.get("done"))
        left = self.mapping(("left_minutes",), data.get("left_minutes"))
        for key, section in (("done", done), ("left_minutes", left)):
            for name in section:
                if str(name) not in known:
                    self.complain((key, name), f"{name!r} is not work of this file.", value=str(name))
        return Plan(
            start=start,
            calendar=calendar,
            operations=operations,
            arrivals=self.arrivals(),
            rentals=rentals,
            title=self.text(("title",), data.get("title")),
            currency=currency,
            holding_per_day=self.money(("holding_per_day",), data.get("holding_per_day", 1), digits),
            grid_minutes=grid,
            done={
                str(k): moment for k, v in done.items() if (moment := self.moment(("done", k), v)) is not None
            },
            left_minutes={str(k): self.number(("left_minutes", k), v) for k, v in left.items()},
        )

    def money(self, path: tuple[Any, ...], value: Any, digits: int) -> int:
        return int(Decimal(str(self.number(path, value))).scaleb(digits).to_integral_value())

    def calendar(self, start: datetime.datetime) -> WorkCalendar:
        section = self.mapping(("calendar",), self.document.data.get("calendar"))
        self.keys(("calendar",), section, "days week changed named")
        if not section.get("week") and not section.get("changed"):
            self.complain(
                ("calendar",),
                "The calendar holds no free hours.",
                fix='Write week: {saturday: ["09:00-17:00"]} under calendar.',
            )
        days = int(self.number(("calendar", "days"), section.get("days", DAYS), least=1))
        # Dates that are over are kept, so that they can be named.
        origin = start.date() - datetime.timedelta(days=7)
        mine = self.windows(("calendar",), section, origin, days + 7)
        named = self.mapping(("calendar", "named"), section.get("named"))
        others = {}
        for name, row in named.items():
            at = ("calendar", "named", name)
            if str(name) in (ME, NOBODY):
                self.complain(at, f"{name!r} is taken; choose another name.", value=str(name))
            row = self.mapping(at, row)
            self.keys(at, row, "every_day week changed dates")
            others[str(name)] = self.windows(at, row, origin, days + 7)
        return WorkCalendar(origin, mine, others)

    def windows(
        self, at: tuple[Any, ...], row: Mapping[Any, Any], origin: datetime.date, days: int
    ) -> Windows:
        every = self.stretches((*at, "every_day"), row.get("every_day"))
        week: dict[str, Sequence[tuple[datetime.time, datetime.time]]] = (
            dict.fromkeys(WEEKDAYS, every) if every else {}
        )
        for day, value in self.mapping((*at, "week"), row.get("week")).items():
            if day not in WEEKDAYS:
                self.complain(
                    (*at, "week", day),
                    f"{day!r} is not a day of the week.",
                    value=str(day),
                    allowed=", ".join(WEEKDAYS),
                )
                continue
            week[str(day)] = self.stretches((*at, "week", day), value)
        changed = {}
        for key in ("changed", "dates"):
            for day, value in self.mapping((*at, key), row.get(key)).items():
                found = self.day((*at, key, day), day)
                if found:
                    changed[found] = self.stretches((*at, key, day), value)
        try:
            windows = week_windows(origin, days, week, changed)
        except BadEntry as error:
            self.complain((*at, "days"), error.message, value=days)
            return ()
        # A single date before the calendar is kept too: the plan says that it is over.
        early = [
            (
                (day - origin).days * 1440 + a.hour * 60 + a.minute,
                (day - origin).days * 1440 + b.hour * 60 + b.minute,
            )
            for day, stretches in changed.items()
            if day < origin
            for a, b in stretches
        ]
        return merged([*early, *windows])

    def arrivals(self) -> tuple[Arrival, ...]:
        found = []
        for key, row in self.mapping(("parts",), self.document.data.get("parts")).items():
            at = ("parts", key)
            row = self.mapping(at, row)
            self.keys(at, row, "name arrives late_days")
            arrives = row.get("arrives")
            late = (
                self.spread((*at, "late_days"), row["late_days"], "days")[1] if "late_days" in row else None
            )
            moment = None if arrives is None else self.moment((*at, "arrives"), arrives)
            found.append(Arrival(str(key), self.text((*at, "name"), row.get("name")), moment, late))
        return tuple(found)

    def rentals(self, digits: int) -> tuple[Rental, ...]:
        found = []
        for key, row in self.mapping(("rentals",), self.document.data.get("rentals")).items():
            at = ("rentals", key)
            row = self.mapping(at, row)
            self.keys(at, row, "name per_day")
            found.append(
                Rental(
                    str(key),
                    self.text((*at, "name"), row.get("name")),
                    self.money((*at, "per_day"), row.get("per_day", 0), digits),
                )
            )
        return tuple(found)

    def operations(self, rentals: set[str], people: set[str]) -> tuple[Operation, ...]:
        rows = self.document.data.get("work")
        if not isinstance(rows, list) or not rows:
            self.complain(("work",), "The file names no work.", fix="Write work: and a list of entries.")
            return ()
        if len(rows) > MOST_WORK:
            self.complain(
                ("work",),
                f"{len(rows)} pieces of work are too many for one plan.",
                allowed=f"up to {MOST_WORK}",
            )
            return ()
        found: dict[str, Operation] = {}
        for n, row in enumerate(rows):
            at = ("work", n)
            if not isinstance(row, dict) or not str(row.get("id", "")).strip():
                self.complain(
                    at, "Each piece of work needs keys and values, with an id.", value=str(row)[:60]
                )
                continue
            operation = self.operation(at, row, rentals, people)
            if operation.id in found:
                self.complain((*at, "id"), f"The id {operation.id!r} stands twice.", value=operation.id)
            found[operation.id] = operation
        return tuple(found.values())

    def operation(
        self, at: tuple[Any, ...], row: dict[str, Any], rentals: set[str], people: set[str]
    ) -> Operation:
        self.keys(at, row, "id name minutes after in_one_go only_in parts rental who hidden")
        minutes, spread = self.spread((*at, "minutes"), row.get("minutes", 0), "minutes")
        rental, who = (
            self.text((*at, "rental"), row.get("rental")),
            self.text((*at, "who"), row.get("who", ME)),
        )
        if rental and rental not in rentals:
            self.complain((*at, "rental"), f"{rental!r} is not a rental of this file.", value=rental)
        if who not in people:
            self.complain(
                (*at, "who"),
                f"{who!r} has no hours in this file.",
                value=who,
                allowed=", ".join(sorted(people)),
            )
        in_one_go = row.get("in_one_go", False)
        if not isinstance(in_one_go, bool):
            self.complain((*at, "in_one_go"), f"{in_one_go!r} is not true or false.", value=str(in_one_go))
        hidden = None
        if row.get("hidden") is not None:
            told = self.mapping((*at, "hidden"), row["hidden"])
            self.keys((*at, "hidden"), told, "chance minutes")
            chance = self.number((*at, "hidden", "chance"), told.get("chance"))
            if chance > 1:
                self.complain(
                    (*at, "hidden", "chance"), f"{chance:g} is over 1.", value=chance, allowed="0 to 1"
                )
            more, law = self.spread((*at, "hidden", "minutes"), told.get("minutes", 0), "minutes")
            hidden = Hidden(min(chance, 1.0), law or fitted(ThreePoint(more, more, more)))
        return Operation(
            id=str(row["id"]),
            name=self.text((*at, "name"), row.get("name")),
            minutes=minutes,
            after=self.after((*at, "after"), row.get("after")),
            is_splittable=not in_one_go,
            only_in=self.names((*at, "only_in"), row.get("only_in")),
            parts=self.names((*at, "parts"), row.get("parts")),
            rental=rental,
            who=who,
            spread=spread,
            hidden=hidden,
        )

    def after(self, at: tuple[Any, ...], value: Any) -> tuple[After, ...]:
        rows = value if isinstance(value, list) else [] if value is None else [value]
        found = []
        for n, row in enumerate(rows):
            here = (*at, n)
            if isinstance(row, dict):
                self.keys(here, row, "work wait_minutes wait_hours")
                wait = self.number((*here, "wait_minutes"), row.get("wait_minutes", 0))
                wait += 60 * self.number((*here, "wait_hours"), row.get("wait_hours", 0))
                found.append(After(str(row.get("work", "")), wait))
            elif isinstance(row, str | int):
                found.append(After(str(row)))
            else:
                self.complain(here, f"{row!r} does not name work.", value=str(row))
        return tuple(found)
