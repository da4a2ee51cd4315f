"""What a person decides about repairs: take one, leave it, call it done, say what there is to spend."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import numpy as np

from driveout.cars import Car
from driveout.cars.actions import get_car, note_event, trail_of
from driveout.errors import BadEntry, CannotSay
from driveout.faults.actions import knowledge_of, posterior_of, prove_fault
from driveout.faults.pack import Pack
from driveout.parts import PartLine
from driveout.parts.actions import need_parts, parts_of, set_state
from driveout.repairs import records
from driveout.repairs.catalogue import Catalogue, PartChoice, Repair, catalogue
from driveout.repairs.choose import (
    AccessCost,
    Choice,
    Limits,
    NowOrLater,
    RepairOption,
    choose,
    now_or_later,
)
from driveout.repairs.days import FreeHours, JobInPlan, RepairInPlan, calendar_of, plan_of_car
from driveout.repairs.records import Chosen, Means
from driveout.repairs.shopping import part_lines, still_to_add
from driveout.rules.actions import rules_of
from driveout.store import Tx
from driveout.units import Money
from driveout.workshop import SHIPPED, shipped_assembly, strip
from driveout.workshop.actions import done_at, drop_targets, every_work, start_work
from driveout.workshop.finish import SAMPLES, Finish, finish_chances
from driveout.workshop.plan import GRID_MINUTES, NOBODY, Plan
from driveout.workshop.schedule import Schedule, plan_work

LEAST_CHANCE = 0.10
"""Chance of a fault from which its repairs are proposed."""
FREE_HOURS, PLAN_OF_DAYS = "free hours", "plan of days"
"""Kinds of event under which the typed hours, and the days they lead to, stand in the trail."""
SURE_ENOUGH = 0.50
"""Chance from which a repair is weighed at all, and from which a critical fault makes it a must."""


@dataclass(frozen=True)
class Proposal:
    """A repair that may be needed.

    Parameters
    ----------
    repair
        The repair.
    fault, fault_name, chance
        The most probable fault that it cures.
    uplift
        What it adds to the car's value on average: value times loss times chance times the share
        of cases it cures. None when the value of the car is not known. [minor units]
    is_mandatory
        Critical and more likely than not.
    """

    repair: Repair
    fault: str
    fault_name: str
    chance: float
    uplift: int | None
    is_mandatory: bool


@dataclass(frozen=True)
class ChosenPlan:
    """The chosen repairs together, shared access once. [minor units, hours]."""

    repairs: tuple[tuple[Chosen, Repair, PartChoice], ...]
    access: tuple[str, ...]
    money: int
    hours: float
    separate_hours: float


def catalogue_of(car: Car) -> Catalogue:
    """Repairs for this car's drive layout; a car of unknown drive counts as front drive."""
    return catalogue(layout="rear_drive" if car.facts.get("drive") == "rwd" else "front_drive")


def means_of(tx: Tx, car: Car) -> Means:
    """What the person has for this car; own rules and the advert's clean value stand in until typed."""
    held = records.means_of(tx, car.id)
    clean = car.facts.get("clean_value_minor")
    value = int(clean[1]) if isinstance(clean, list) and len(clean) == 3 else None
    if held is None:
        wage = round(rules_of(tx, car.currency).rules.wage_per_hour)
        return Means(car.id, wage, value, None, None, 0)
    if held.value_minor is None:
        return Means(held.car_id, held.wage_minor, value, held.budget_minor, held.hours, held.version)
    return held


def set_means(
    tx: Tx,
    car_id: int,
    *,
    wage: Money,
    at: datetime,
    value: Money | None = None,
    budget: Money | None = None,
    hours: float | None = None,
    version: int | None = None,
) -> Means:
    """Say what an hour is worth and what there is to spend on this car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    wage
        Worth of an own hour.
    at
        Present moment.
    value
        Worth of the car when sound; None takes the advert's.
    budget
        Limit on money; None for none.
    hours
        Limit on own hours; None for none. [h]
    version
        Version that the person was looking at.

    Returns
    -------
    Means
        As kept.
    """
    get_car(tx, car_id)
    kept = records.save_means(
        tx,
        car_id,
        {
            "wage_minor": wage.minor,
            "value_minor": value.minor if value else None,
            "budget_minor": budget.minor if budget else None,
            "hours": hours,
        },
        at,
        version,
    )
    note_event(tx, car_id, "repairs", f"Limits for the repairs: an hour is worth {wage.text()}", {}, at)
    return kept


def proposals(tx: Tx, car_id: int) -> list[Proposal]:
    """Repairs for the probable faults of a car, most probable fault first."""
    car = get_car(tx, car_id)
    chances = posterior_of(tx, car_id).faults
    pack = knowledge_of(tx)
    held = catalogue_of(car)
    # Without a rate of exchange nothing can be set against prices of another currency.
    value = means_of(tx, car).value_minor if held.currency == car.currency else None
    found = []
    for repair in held.repairs.values():
        likely = sorted(((chances.get(fault, 0.0), fault) for fault in repair.cures), reverse=True)
        if not likely or likely[0][0] < LEAST_CHANCE:
            continue
        chance, fault = likely[0]
        loss = sum(
            chances.get(name, 0.0) * pack.faults[name].value_loss[1]
            for name in repair.cures
            if name in pack.faults
        )
        known = pack.faults.get(fault)
        found.append(
            Proposal(
                repair,
                fault,
                known.name if known else fault,
                chance,
                None if value is None else round(value * min(1.0, loss) * repair.fixes),
                bool(known and known.safety == "critical") and chance >= SURE_ENOUGH,
            )
        )
    return sorted(found, key=lambda proposal: (-proposal.chance, proposal.repair.id))


def suggestion(tx: Tx, car_id: int) -> Choice:
    """Which of the proposed repairs pay, given the person's means.

    Only faults that are more likely than not are weighed: the others want a check first. Of several
    repairs for the same fault at most one is taken, in one of its kinds of part.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.

    Returns
    -------
    Choice
        Best plan, runner-up and the price of each limit.

    Raises
    ------
    CannotSay
        If the value of the car is not known, the car is kept in another currency than the
        repairs, or the mandatory repairs do not fit.
    """
    car = get_car(tx, car_id)
    held = catalogue_of(car)
    means = means_of(tx, car)
    if means.value_minor is None:
        raise CannotSay(
            "Which repairs pay depends on what the car is worth when sound. Type it in below.",
            missing="value",
        )
    if held.currency != car.currency:
        raise CannotSay(
            f"The repair costs are in {held.currency} and this car is kept in {car.currency}.",
            missing="prices",
        )
    options = [
        RepairOption(
            id=f"{proposal.repair.id}:{kind}",
            repair=proposal.fault,
            uplift=proposal.uplift or 0,
            money=_money(proposal.repair, part),
            hours=proposal.repair.own_hours.likely * part.hours_share,
            access=(proposal.repair.access,) if proposal.repair.access and part.kind != "outside" else (),
            is_mandatory=proposal.is_mandatory,
            lead_days=part.lead_days.likely,
        )
        for proposal in proposals(tx, car_id)
        if proposal.chance >= SURE_ENOUGH
        for kind, part in proposal.repair.choices.items()
    ]
    doors = [AccessCost(group.id, group.hours.likely) for group in held.access.values()]
    return _chosen_once(
        tuple(options), tuple(doors), means.wage_minor, Limits(means.budget_minor, means.hours)
    )


@lru_cache(maxsize=64)
def _chosen_once(
    options: tuple[RepairOption, ...], doors: tuple[AccessCost, ...], wage: int, limits: Limits
) -> Choice:
    return choose(options, doors, wage, limits)


def _money(repair: Repair, part: PartChoice) -> int:
    """Likely money of a repair with one kind of part, in minor units."""
    return round(
        part.money.likely + repair.consumables.likely + sum(work.money.likely for work in repair.outside)
    )


def choose_repair(
    tx: Tx, car_id: int, repair: str, kind: str, *, at: datetime, version: int | None = None
) -> Chosen:
    """Take a repair into the plan: its strip and refit plan is begun, its parts go on the list.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    repair
        The repair.
    kind
        Kind of part.
    at
        Present moment.
    version
        Version of an earlier decision that the person was looking at.

    Returns
    -------
    Chosen
        The decision.

    Raises
    ------
    BadEntry
        If there is no such repair or kind.
    """
    car = get_car(tx, car_id)
    held = _repair(catalogue_of(car), repair)
    if kind not in held.choices:
        raise BadEntry(
            f"{held.name} cannot be had {kind!r}.", field="kind", value=kind, allowed=", ".join(held.choices)
        )
    made = records.save_chosen(tx, car_id, repair, {"choice": kind, "state": "chosen"}, at, version)
    if kind != "outside" and held.assembly in SHIPPED:
        start_work(tx, car_id, held.assembly, held.targets, at=at, kind_of_work=held.id)
    note_event(
        tx, car_id, "repair", f"Repair chosen: {held.name} ({kind})", {"repair": repair, "choice": kind}, at
    )
    _list_parts(tx, car, held, held.choices[kind], at)
    return made


def _list_parts(tx: Tx, car: Car, repair: Repair, part: PartChoice, at: datetime) -> None:
    """Put on the list what the repair needs, and take off what nobody needs in this kind any more."""
    lines = _lines(catalogue_of(car), repair, part)
    keys = {row.repair for row in records.chosen_of(tx, car.id)}
    parts = [one for one in parts_of(tx, car.id) if one.line.key in keys]
    listed = [one.line.what for one in parts if one.state in ("needed", "ordered", "here")]
    missing = still_to_add(lines, listed)
    for one in parts:
        if (
            one.line.key == repair.id
            and one.state == "not needed"
            and one.line.what in {m.what for m in missing}
        ):
            set_state(tx, car.id, one.id, "needed", at=at)
            missing = still_to_add(missing, [one.line.what])
    need_parts(tx, car.id, missing, at=at)
    _tidy_parts(tx, car.id, repair.id, at)


def _tidy_parts(tx: Tx, car_id: int, changed: str, at: datetime) -> None:
    """Call parts not needed that no chosen repair needs: of the changed repair and of those not chosen."""
    held = catalogue_of(get_car(tx, car_id))
    rows = records.chosen_of(tx, car_id)
    open_keys = {row.repair for row in rows if row.state == "chosen"} - {changed}
    wanted = {
        line.what
        for row, other, part in chosen_plan(tx, car_id).repairs
        if row.state == "chosen"
        for line in _lines(held, other, part)
    }
    for one in parts_of(tx, car_id):
        ours = one.line.key in {row.repair for row in rows} and one.line.key not in open_keys
        if ours and one.state == "needed" and one.line.what not in wanted:
            set_state(tx, car_id, one.id, "not needed", at=at)


def _lines(held: Catalogue, repair: Repair, part: PartChoice) -> list[PartLine]:
    plan = None
    if part.kind != "outside" and repair.assembly in SHIPPED:
        plan = strip(shipped_assembly(repair.assembly), repair.targets, compare=False)
    reached = held.access[repair.access].target if repair.access else ""
    return part_lines(repair, part, plan, reached)


def drop_repair(
    tx: Tx, car_id: int, repair: str, *, at: datetime, note: str = "", version: int | None = None
) -> Chosen:
    """Take a repair out of the plan again.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    repair
        The repair.
    at
        Present moment.
    note
        Why.
    version
        Version that the person was looking at.

    Returns
    -------
    Chosen
        The decision.
    """
    held = _repair(catalogue_of(get_car(tx, car_id)), repair)
    made = records.save_chosen(tx, car_id, repair, {"state": "dropped", "note": note}, at, version)
    if held.assembly:
        still = {
            target
            for _, other, _ in chosen_plan(tx, car_id).repairs
            if other.assembly == held.assembly
            for target in other.targets
        }
        drop_targets(tx, car_id, held.assembly, [t for t in held.targets if t not in still], at=at)
    _tidy_parts(tx, car_id, repair, at)
    note_event(tx, car_id, "repair", f"Repair taken out of the plan: {held.name}", {"repair": repair}, at)
    return made


def finish_repair(
    tx: Tx, car_id: int, repair: str, *, at: datetime, was_it: str = "", version: int | None = None
) -> Chosen:
    """Call a repair done, and keep what taking apart proved.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    repair
        The repair.
    at
        Present moment.
    was_it
        One of the answers of `was_it_answers`: ``yes:`` with the fault that was found, ``no`` when
        none of the cured faults was there; empty when nobody knows. Sold cars teach by it.
    version
        Version that the person was looking at.

    Returns
    -------
    Chosen
        The decision.

    Raises
    ------
    BadEntry
        If the answer is none of the offered ones.
    CannotSay
        If it contradicts what is recorded.
    """
    held = _repair(catalogue_of(get_car(tx, car_id)), repair)
    offered = dict(was_it_answers(knowledge_of(tx), held))
    if was_it not in offered:
        raise BadEntry(
            f"{was_it!r} is not an answer to what {held.name} found.",
            field="was_it",
            value=was_it,
            allowed=", ".join(offered.values()),
        )
    made = records.save_chosen(tx, car_id, repair, {"state": "done"}, at, version)
    if was_it.startswith("yes:"):
        prove_fault(tx, car_id, fault=was_it.removeprefix("yes:"), is_there=True, at=at, note=held.name)
    elif was_it == "no":
        for fault in held.cures:
            prove_fault(tx, car_id, fault=fault, is_there=False, at=at, note=held.name)
    # What was never ordered until the work was done was not needed, or bought without the list.
    _tidy_parts(tx, car_id, repair, at)
    note_event(
        tx,
        car_id,
        "repair",
        f"Repair done: {held.name}",
        {"repair": repair, "cures": list(held.cures)},
        at,
    )
    return made


def was_it_answers(pack: Pack, repair: Repair) -> list[tuple[str, str]]:
    """What may be answered to "Was it that?" once a repair is done, in the words of a choice.

    A fault with rivals is ruled out only by the rival that it was, so "no" then names them.
    """
    known = [fault for fault in repair.cures if fault in pack.faults]
    rivals = {
        other
        for fault in known
        for cause in pack.competing.values()
        if fault in cause.faults
        for other in cause.faults
        if other not in known
    }
    answers = [("", "Do not know")]
    answers += [(f"yes:{fault}", f"Yes: {pack.faults[fault].name}") for fault in known]
    answers += [(f"yes:{fault}", f"No, it was: {pack.faults[fault].name}") for fault in sorted(rivals)]
    contested = any(fault in cause.faults for fault in known for cause in pack.competing.values())
    if known and not contested:
        answers.append(("no", "No, it was not there"))
    return answers


def _repair(held: Catalogue, repair: str) -> Repair:
    if repair not in held.repairs:
        raise BadEntry(
            f"There is no repair {repair!r} for this car.",
            field="repair",
            value=repair,
            allowed="one of the list",
        )
    return held.repairs[repair]


def decisions_of(tx: Tx, car_id: int) -> list[Chosen]:
    """Every decision about repairs of a car: chosen, done and dropped."""
    return records.chosen_of(tx, car_id)


def chosen_plan(tx: Tx, car_id: int) -> ChosenPlan:
    """The repairs in the plan, with shared access counted once."""
    held = catalogue_of(get_car(tx, car_id))
    rows = tuple(
        (row, held.repairs[row.repair], held.repairs[row.repair].choices[row.choice])
        for row in records.chosen_of(tx, car_id)
        if row.state in ("chosen", "done") and row.repair in held.repairs
    )
    opened = tuple(
        dict.fromkeys(repair.access for _, repair, part in rows if repair.access and part.kind != "outside")
    )
    own = sum(repair.own_hours.likely * part.hours_share for _, repair, part in rows)
    doors = {name: held.access[name].hours.likely for name in opened}
    separate = own + sum(doors.get(repair.access, 0.0) for _, repair, part in rows if part.kind != "outside")
    return ChosenPlan(
        rows,
        opened,
        sum(_money(repair, part) for _, repair, part in rows),
        own + sum(doors.values()),
        separate,
    )


def also_worth_it(tx: Tx, car_id: int, access: Sequence[str]) -> list[NowOrLater]:
    """For each thing that is easy while an access is open: what doing it now saves, best first."""
    car = get_car(tx, car_id)
    wage = means_of(tx, car).wage_minor
    held = catalogue_of(car)
    if held.currency != car.currency:
        return []
    found = [now_or_later(item, wage) for name in access for item in held.also(name)]
    return sorted(found, key=lambda one: -one.saving)


def option_names(tx: Tx, car_id: int) -> Mapping[str, str]:
    """What a person reads for each option of a suggestion."""
    held = catalogue_of(get_car(tx, car_id))
    return {
        f"{repair.id}:{kind}": f"{repair.name} ({kind})"
        for repair in held.repairs.values()
        for kind in repair.choices
    }


def set_free_hours(tx: Tx, car_id: int, hours: FreeHours, *, at: datetime) -> FreeHours:
    """Keep when the person can work on this car.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    hours
        As typed.
    at
        Present moment.

    Returns
    -------
    FreeHours
        As kept.

    Raises
    ------
    BadEntry
        If a stretch or a day cannot be read, or there are no free hours at all.
    """
    car = get_car(tx, car_id)
    calendar_of(hours, local(at))
    tools = catalogue_of(car).tools
    for name in hours.rented:
        if name not in tools or tools[name].rent_per_day is None:
            raise BadEntry(f"{name!r} is not a tool that is rented.", field="rented", value=name)
    note_event(tx, car_id, FREE_HOURS, "Free hours for the plan of days", hours.as_dict(), at)
    return hours


def free_hours(tx: Tx, car_id: int) -> FreeHours | None:
    """When the person can work on this car, as typed last; None when never."""
    return next((FreeHours.of(e.data) for e in trail_of(tx, car_id) if e.kind == FREE_HOURS), None)


def local(at: datetime) -> datetime:
    """A moment as the clock on the wall shows it."""
    return at.astimezone().replace(tzinfo=None, second=0, microsecond=0)


class _Same:
    """Two plans are the same when every value in them is."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.words = repr(plan)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.words == other.words

    def __hash__(self) -> int:
        return hash(self.words)


@lru_cache(maxsize=16)
def _days_once(same: _Same, seconds: float, runs: int) -> tuple[Schedule, Finish | None]:
    schedule = plan_work(same.plan, seconds=seconds)
    rng = np.random.default_rng(1)
    return schedule, finish_chances(schedule, rng, samples=runs) if schedule.placed else None


def days_of(
    tx: Tx, car_id: int, *, at: datetime, seconds: float = 2.0, runs: int = SAMPLES
) -> tuple[Schedule, Finish | None]:
    """The car's plan of days and the chances of its finish; worked out once until something changes.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.
    seconds
        Longest time of the exact solver. [s]
    runs
        Number of runs for the chances.

    Returns
    -------
    tuple[Schedule, Finish | None]
        No chances when nothing has a date.
    """
    return _days_once(_Same(days_plan(tx, car_id, at=at)), seconds, runs)


def keep_pace(tx: Tx, car_id: int, *, at: datetime, seconds: float = 1.0, runs: int = 2000) -> float | None:
    """Keep at what pace the plan of days goes, so that the outlook counts days as the plan does.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.
    seconds
        Longest time of the exact solver. [s]
    runs
        Number of runs for the chances.

    Returns
    -------
    float | None
        Own hours of work a week on the way to the day reached in half of the runs; None when
        nothing can be planned. [h/week]
    """
    try:
        schedule, finish = days_of(tx, car_id, at=at, seconds=seconds, runs=runs)
    except CannotSay:
        return None
    days = 0.0 if finish is None else (finish.p50.moment - local(at)).total_seconds() / 86_400.0
    work = sum(operation.minutes for operation in schedule.plan.operations if operation.who != NOBODY) / 60.0
    if finish is None or days <= 0.0 or work <= 0.0:
        return None
    pace = 7.0 * work / days
    note_event(
        tx,
        car_id,
        PLAN_OF_DAYS,
        f"Plan of days: half of the runs end by {finish.p50.day}, eight of ten by {finish.p80.day}",
        {
            "hours_per_week": round(pace, 3),
            "p50": finish.p50.day.isoformat(),
            "p80": finish.p80.day.isoformat(),
            "work_hours": round(work, 2),
        },
        at,
    )
    return pace


def days_plan(tx: Tx, car_id: int, *, at: datetime) -> Plan:
    """The car's plan as it stands now: what is done counts as done, the rest is planned from now on.

    Parameters
    ----------
    tx
        Open transaction.
    car_id
        The car.
    at
        Present moment.

    Returns
    -------
    Plan
        Ready to be put into days.

    Raises
    ------
    CannotSay
        If no free hours were typed yet, or no work is planned.
    """
    car = get_car(tx, car_id)
    hours = free_hours(tx, car_id)
    if hours is None:
        raise CannotSay("Days follow from your free hours. Type them in below.", missing="free hours")
    held = catalogue_of(car)
    works = every_work(tx, car_id)
    jobs = [
        JobInPlan(w.job.id, w.plan, {task: local(when) for task, when in done_at(tx, w).items()})
        for w in works
    ]
    by_area = {w.job.assembly: w.job.id for w in works}
    chosen = [
        RepairInPlan(repair, part, 0 if part.kind == "outside" else by_area.get(repair.assembly, 0))
        for row, repair, part in chosen_plan(tx, car_id).repairs
        if row.state == "chosen"
    ]
    if not jobs and not chosen:
        raise CannotSay("No work is planned. Choose a repair first.", missing="work")
    now = local(at)
    now = now.replace(minute=now.minute // GRID_MINUTES * GRID_MINUTES)
    return plan_of_car(
        car.name,
        held.currency,
        now,
        calendar_of(hours, now),
        jobs,
        chosen,
        parts_of(tx, car_id),
        [held.tools[name] for name in hours.rented],
    )


def tools_to_rent(tx: Tx, car_id: int) -> list[tuple[str, Money]]:
    """Tools of the chosen repairs that can be rented, with the usual price of a day."""
    held = catalogue_of(get_car(tx, car_id))
    names = {
        name
        for row, repair, _ in chosen_plan(tx, car_id).repairs
        if row.state == "chosen"
        for name in repair.tools
    }
    return [
        (tool.id, Money(round(tool.rent_per_day.likely), held.currency))
        for tool in held.tools.values()
        if tool.id in names and tool.rent_per_day
    ]
