"""Which repairs to do: gain in value against money and own hours, shared access paid once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from math import prod
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.repairs.catalogue import WhileThere
from driveout.repairs.closure import best_closure
from driveout.units import Money

MOST_WAYS = 1000
"""Plans that are tried one by one; above it the integer programme is called, whose import takes long."""


@dataclass(frozen=True)
class RepairOption:
    """One way to do one repair.

    Parameters
    ----------
    id
        Key of the option, unique over all repairs.
    repair
        The repair it belongs to; at most one option of a repair is taken.
    uplift
        What the car is worth more when it is done. [minor units]
    money
        What it costs. [minor units]
    hours
        Own hours, shared access not counted. [hours]
    access
        Access groups that must be open.
    needs
        Other repairs that must be done too.
    is_mandatory
        Some option of this repair must be taken, such as a brake that makes the car unsafe.
    lead_days
        Days until it can be done. [days]
    """

    id: str
    repair: str
    uplift: int
    money: int
    hours: float
    access: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    is_mandatory: bool = False
    lead_days: float = 0.0


@dataclass(frozen=True)
class AccessCost:
    """What it costs to open and close one access group. [minor units, hours]."""

    id: str
    hours: float
    money: int = 0
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Limits:
    """What the person has: money, own hours, days; None where there is no limit. [minor units, hours, days]."""

    budget: int | None = None
    hours: float | None = None
    lead_days: float | None = None


@dataclass(frozen=True)
class Plan:
    """A set of repairs with what it brings and takes.

    Parameters
    ----------
    options
        Ids of the options taken, in the order given.
    access
        Access groups opened.
    value
        Uplift less money less hours at the wage. [minor units]
    uplift, money
        The parts of it. [minor units]
    hours
        Own hours, access counted once. [hours]
    """

    options: tuple[str, ...]
    access: tuple[str, ...]
    value: int
    uplift: int
    money: int
    hours: float

    def as_dict(self) -> dict[str, Any]:
        """JSON shape, money in minor units."""
        return {
            "options": list(self.options),
            "access": list(self.access),
            "value_minor": self.value,
            "uplift_minor": self.uplift,
            "money_minor": self.money,
            "hours": round(self.hours, 4),
        }


@dataclass(frozen=True)
class Choice:
    """The best plan, the next best, and what each limit costs.

    Parameters
    ----------
    best
        The plan to follow.
    runner_up
        The best plan that differs in at least one option; None when there is none.
    limit_costs
        For each limit, how much more the best plan would be worth without it. [minor units]
    separate_hours
        Own hours if each repair of the best plan were done by itself. [hours]
    """

    best: Plan
    runner_up: Plan | None
    limit_costs: Mapping[str, int] = field(default_factory=dict)
    separate_hours: float = 0.0

    @property
    def saved_hours(self) -> float:
        """Hours saved because shared access is opened once."""
        return self.separate_hours - self.best.hours

    def as_dict(self) -> dict[str, Any]:
        """JSON shape."""
        return {
            "best": self.best.as_dict(),
            "runner_up": self.runner_up.as_dict() if self.runner_up else None,
            "limit_costs_minor": dict(self.limit_costs),
            "separate_hours": round(self.separate_hours, 4),
            "saved_hours": round(self.saved_hours, 4),
        }


def choose(
    repairs: Sequence[RepairOption],
    access: Sequence[AccessCost] = (),
    wage: int = 0,
    limits: Limits | None = None,
) -> Choice:
    """Choose the repairs whose gain in value is greatest after money and own hours.

    Uplifts are taken to add up. Without limits and without real alternatives it is one minimum
    cut; else few plans are tried one by one and many go to an integer programme. All are exact.

    Parameters
    ----------
    repairs
        The options.
    access
        Shared access groups.
    wage
        What an own hour is worth to the person. [minor units per hour]
    limits
        Budget, hours and days; none by default.

    Returns
    -------
    Choice
        Best plan, runner-up and the price of each limit.

    Raises
    ------
    BadEntry
        If an id is double or unknown, or a number is below 0.
    CannotSay
        If the mandatory repairs do not fit the limits.

    References
    ----------
    picard-1976; own-reasoning, docs/method/repairs.md.
    """
    bounds = limits or Limits()
    job = _Job(repairs, access, wage)
    job.check()
    best = job.best(bounds)
    if best is None:
        raise job.does_not_fit(bounds)
    costs: dict[str, int] = {}
    for name in ("budget", "hours", "lead_days"):
        if getattr(bounds, name) is not None:
            free = job.best(replace(bounds, **{name: None}))
            costs[name] = free.value - best.value if free else 0
    return Choice(best, job.best(bounds, other_than=best), costs, job.separate_hours(best))


class _Job:
    def __init__(self, repairs: Sequence[RepairOption], access: Sequence[AccessCost], wage: int) -> None:
        self.options = list(repairs)
        self.access = {group.id: group for group in access}
        self.access_rows = list(access)
        self.wage = wage

    def check(self) -> None:
        ids = [option.id for option in self.options]
        for name in ids:
            if ids.count(name) > 1:
                raise BadEntry(f"The option {name!r} stands twice.", field="id", value=name)
        if len(self.access) != len(self.access_rows):
            raise BadEntry("An access group stands twice.", field="access")
        if self.wage < 0:
            raise BadEntry(
                f"A wage of {self.wage} is below 0.", field="wage", value=self.wage, allowed="0 or more"
            )
        known = {option.repair for option in self.options}
        rows: tuple[RepairOption | AccessCost, ...] = (*self.options, *self.access_rows)
        for row in rows:
            if row.hours < 0 or row.money < 0:
                raise BadEntry(
                    f"{row.id} has hours {row.hours:g} and money {row.money}; both must be 0 or more.",
                    field=row.id,
                    value=min(row.hours, row.money),
                )
        for option in self.options:
            for name in option.access:
                if name not in self.access:
                    raise BadEntry(
                        f"{option.id} needs the access {name!r}, which is not given.",
                        field="access",
                        value=name,
                        allowed=", ".join(self.access) or "none",
                    )
            for name in option.needs:
                if name not in known:
                    raise BadEntry(f"{option.id} needs the repair {name!r}, which is not given.", value=name)
        for group in self.access_rows:
            for name in group.needs:
                if name not in self.access:
                    raise BadEntry(f"Access {group.id} needs {name!r}, which is not given.", value=name)

    def worth(self, option: RepairOption) -> int:
        return option.uplift - option.money - round(self.wage * option.hours)

    def access_price(self, group: AccessCost) -> int:
        return group.money + round(self.wage * group.hours)

    def best(self, limits: Limits, other_than: Plan | None = None) -> Plan | None:
        options = [
            option
            for option in self.options
            if limits.lead_days is None or option.lead_days <= limits.lead_days
        ]
        if not {o.repair for o in self.options if o.is_mandatory} <= {o.repair for o in options}:
            return None
        if limits.budget is None and limits.hours is None and other_than is None:
            single = self._without_alternatives(options)
            there = {option.repair for option in options}
            if single is not None and all(set(option.needs) <= there for option in single):
                return self._by_cut(single)
        ways: dict[str, list[RepairOption | None]] = {}
        for option in options:
            ways.setdefault(option.repair, [None]).append(option)
        if prod(len(way) for way in ways.values()) <= MOST_WAYS:
            return self._by_trying_all(list(ways.values()), limits, other_than)
        return self._by_programme(options, limits, other_than)

    def _by_trying_all(
        self, ways: list[list[RepairOption | None]], limits: Limits, other_than: Plan | None
    ) -> Plan | None:
        must = {option.repair for option in self.options if option.is_mandatory}
        best: Plan | None = None
        for combination in product(*ways):
            taken = [option for option in combination if option is not None]
            repairs = {option.repair for option in taken}
            if not must <= repairs or any(not repairs.issuperset(option.needs) for option in taken):
                continue
            plan = self.plan(taken)
            if other_than is not None and set(plan.options) == set(other_than.options):
                continue
            if limits.budget is not None and plan.money > limits.budget:
                continue
            if limits.hours is not None and round(plan.hours * 1000) > round(limits.hours * 1000):
                continue
            if best is None or plan.value > best.value:
                best = plan
        return best

    def _without_alternatives(self, options: list[RepairOption]) -> list[RepairOption] | None:
        """One option per repair, when all its options need the same; the dearer ones never pay."""
        chosen: dict[str, RepairOption] = {}
        for option in options:
            held = chosen.get(option.repair)
            if held is None:
                chosen[option.repair] = option
            elif (set(held.access), set(held.needs)) != (set(option.access), set(option.needs)):
                return None
            elif self.worth(option) > self.worth(held):
                chosen[option.repair] = option
        return list(chosen.values())

    def _by_cut(self, options: list[RepairOption]) -> Plan | None:
        node = {option.repair: i for i, option in enumerate(options)}
        door = {group.id: len(options) + i for i, group in enumerate(self.access_rows)}
        weights = [self.worth(o) for o in options] + [-self.access_price(g) for g in self.access_rows]
        # A mandatory repair is given a weight that outweighs everything that could be lost by it.
        great = sum(abs(w) for w in weights) + 1
        must = {o.repair for o in self.options if o.is_mandatory}
        for i, option in enumerate(options):
            if option.repair in must:
                weights[i] += great
        needs = [(node[o.repair], door[a]) for o in options for a in o.access]
        needs += [(node[o.repair], node[other]) for o in options for other in o.needs]
        needs += [(door[g.id], door[a]) for g in self.access_rows for a in g.needs]
        _, taken = best_closure(weights, needs)
        return self.plan([option for i, option in enumerate(options) if i in taken])

    def plan(self, taken: Sequence[RepairOption]) -> Plan:
        opened: dict[str, None] = {}
        todo = [name for option in taken for name in option.access]
        while todo:
            name = todo.pop()
            if name not in opened:
                opened[name] = None
                todo.extend(self.access[name].needs)
        groups = [group for group in self.access_rows if group.id in opened]
        ids = {option.id for option in taken}
        uplift = sum(option.uplift for option in taken)
        return Plan(
            tuple(option.id for option in self.options if option.id in ids),
            tuple(group.id for group in groups),
            sum(self.worth(option) for option in taken) - sum(self.access_price(group) for group in groups),
            uplift,
            sum(option.money for option in taken) + sum(group.money for group in groups),
            sum(option.hours for option in taken) + sum(group.hours for group in groups),
        )

    def separate_hours(self, plan: Plan) -> float:
        taken = [option for option in self.options if option.id in plan.options]
        return sum(self.plan([option]).hours for option in taken)

    def _by_programme(
        self, options: list[RepairOption], limits: Limits, other_than: Plan | None
    ) -> Plan | None:
        from ortools.sat.python import cp_model

        model = cp_model.CpModel()
        take = {option.id: model.new_bool_var("") for option in options}
        opened = {group.id: model.new_bool_var("") for group in self.access_rows}
        by_repair: dict[str, list[Any]] = {}
        for option in options:
            by_repair.setdefault(option.repair, []).append(take[option.id])
        must = {o.repair for o in self.options if o.is_mandatory}
        for repair, ways in by_repair.items():
            if repair in must:
                model.add_exactly_one(ways)
            elif len(ways) > 1:
                model.add_at_most_one(ways)
        for option in options:
            for name in option.access:
                model.add_implication(take[option.id], opened[name])
            for other in option.needs:
                model.add_bool_or([take[option.id].negated(), *by_repair.get(other, [])])
        for group in self.access_rows:
            for name in group.needs:
                model.add_implication(opened[group.id], opened[name])
        if limits.budget is not None:
            model.add(
                sum(option.money * take[option.id] for option in options)
                + sum(group.money * opened[group.id] for group in self.access_rows)
                <= limits.budget
            )
        if limits.hours is not None:
            # Thousandths of an hour, rounded: 4 seconds.
            model.add(
                sum(round(option.hours * 1000) * take[option.id] for option in options)
                + sum(round(group.hours * 1000) * opened[group.id] for group in self.access_rows)
                <= round(limits.hours * 1000)
            )
        if other_than is not None:
            held = set(other_than.options)
            model.add_bool_or([take[o.id].negated() if o.id in held else take[o.id] for o in options])
        model.maximize(
            sum(self.worth(option) * take[option.id] for option in options)
            - sum(self.access_price(group) * opened[group.id] for group in self.access_rows)
        )
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        solver.parameters.cp_model_probing_level = 0
        status = solver.solve(model)
        if status != cp_model.OPTIMAL:
            return None
        return self.plan([option for option in options if solver.boolean_value(take[option.id])])

    def does_not_fit(self, limits: Limits) -> CannotSay:
        must = [option for option in self.options if option.is_mandatory]
        names = ", ".join(dict.fromkeys(option.repair for option in must))
        if limits.lead_days is not None and {o.repair for o in must} - {
            o.repair for o in must if o.lead_days <= limits.lead_days
        }:
            return CannotSay(
                f"A mandatory repair cannot be had within {limits.lead_days:g} days ({names}). Give it more days.",
                missing="lead_days",
            )
        # The least money and the least hours of the mandatory repairs, each by itself.
        freed = [replace(option, uplift=0, hours=0.0) for option in self.options]
        money = _Job(freed, [replace(g, hours=0.0) for g in self.access_rows], 0).best(Limits())
        hourly = [replace(option, uplift=0, money=0) for option in self.options]
        hours = _Job(hourly, [replace(g, money=0) for g in self.access_rows], 1_000_000).best(Limits())
        least_money = money.money if money else 0
        least_hours = hours.hours if hours else 0.0
        return CannotSay(
            f"The mandatory repairs ({names}) do not fit the limits: they need at least {least_money} in minor units "
            f"of money, and at least {least_hours:g} own hours. Raise a limit, or do not buy or keep the car.",
            missing="budget" if limits.budget is not None and least_money > limits.budget else "hours",
        )


@dataclass(frozen=True)
class NowOrLater:
    """Whether to do something while it is open anyway.

    Parameters
    ----------
    item
        What it is.
    now, later
        Cost now, and expected cost if it is left: chance times the cost of the later job. [minor units]
    chance_to_break_even
        Chance of a later failure above which doing it now pays.
    """

    item: WhileThere
    now: int
    later: int
    chance_to_break_even: float

    @property
    def saving(self) -> int:
        """What doing it now saves on average, below 0 when waiting is cheaper, in minor units."""
        return self.later - self.now


def now_or_later(item: WhileThere, wage: int, *, chance_later: float | None = None) -> NowOrLater:
    """Compare doing a while-you-are-there item now with doing it later if it fails.

    Parameters
    ----------
    item
        The item, with hours now, hours later and its chance.
    wage
        What an own hour is worth. [minor units per hour]
    chance_later
        The person's own chance of failure within the horizon; the item's by default.

    Returns
    -------
    NowOrLater
        Both costs, with the likely price of the parts.

    Raises
    ------
    BadEntry
        If the chance is outside 0 to 1.

    References
    ----------
    own-reasoning, docs/method/repairs.md.
    """
    chance = item.chance_later if chance_later is None else chance_later
    if not 0 <= chance <= 1:
        raise BadEntry(
            f"A chance of {chance:g} is outside 0 to 1.", field="chance_later", value=chance, allowed="0 to 1"
        )
    parts = item.money.likely
    now = parts + wage * item.hours_now
    full = parts + wage * item.hours_later
    return NowOrLater(item, round(now), round(chance * full), min(1.0, now / full) if full else 1.0)


def in_words(choice: Choice, currency: str) -> list[str]:
    """Write the choice in sentences."""
    best = choice.best
    lines = [
        "Do: " + (", ".join(best.options) or "nothing"),
        f"Worth {Money(best.value, currency).text()} after {Money(best.money, currency).text()} and {best.hours:.1f} own hours.",
    ]
    if best.access:
        saved = f" (saves {choice.saved_hours:.1f} hours)" if choice.saved_hours > 0.05 else ""
        lines.append(f"Opened once: {', '.join(best.access)}{saved}.")
    if choice.runner_up:
        less = Money(best.value - choice.runner_up.value, currency).text()
        lines.append(f"Next best, {less} less: {', '.join(choice.runner_up.options) or 'nothing'}.")
    for name, price in choice.limit_costs.items():
        what = {"budget": "budget", "hours": "limit on hours", "lead_days": "limit on days"}[name]
        lines.append(f"The {what} costs {Money(price, currency).text()}.")
    return lines
