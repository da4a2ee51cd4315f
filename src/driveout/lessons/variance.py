"""Where the money and the hours of a car went against its frozen estimate, to the cent."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from driveout.lessons.bias import HOURS, MONEY, Job
from driveout.lessons.estimate import RESERVE, Estimate, EstimateLine
from driveout.money import CarCost, Entry, standing
from driveout.money.bookings import work_name, work_words
from driveout.money.journal import MINUTES
from driveout.uncertain import ThreePoint, fitted
from driveout.units import Money


@dataclass(frozen=True)
class Actual:
    """What was booked on one estimate line, or beside the estimate.

    Parameters
    ----------
    key
        Estimate line; empty when nothing of the kind was planned.
    label
        What it is.
    cost
        Cost booked.
    quantity
        How many were bought.
    minutes
        Own time booked. [min]
    """

    key: str
    label: str
    cost: Money
    quantity: Decimal
    minutes: int


@dataclass(frozen=True)
class VarianceLine:
    """One reason why the result differs from the estimate; above 0 is better for the person."""

    key: str
    label: str
    reason: str
    effect: Money


@dataclass(frozen=True)
class Variance:
    """Estimate against actual of one car.

    Parameters
    ----------
    estimated, actual
        Profit after own time at the chosen wage.
    estimated_profit, actual_profit
        Profit in money.
    estimated_minutes, actual_minutes
        Own time. [min]
    lines
        Reasons; their effects add up to ``actual - estimated`` exactly.
    """

    estimated: Money
    actual: Money
    estimated_profit: Money
    actual_profit: Money
    estimated_minutes: int
    actual_minutes: int
    lines: tuple[VarianceLine, ...]

    @property
    def total(self) -> Money:
        """All effects together."""
        return self.actual - self.estimated


def _costs(entry: Entry, car: str, currency: str) -> int:
    """Cost an entry puts on the car; the sale itself only moves cost on and counts as none."""
    if entry.fact("kind") == "sale" and entry.links[0] == car.lower():
        return 0
    return sum(
        p.amount
        for p in entry.postings
        if p.commodity == currency
        and (p.account.startswith(f"Assets:WIP:{car}:") or p.account == f"Expenses:AfterSale:{car}")
    )


def _minutes(entry: Entry, car: str) -> int:
    return sum(
        p.amount for p in entry.postings if p.commodity == MINUTES and p.account == f"Equity:Memo:Time:{car}"
    )


def _line_of(
    entry: Entry, estimate: Estimate, by_key: Mapping[str, EstimateLine], own_minutes: bool
) -> EstimateLine | None:
    """Estimate line an entry belongs to: by its link, else the only planned line of its kind."""
    for link in entry.links:
        if link.startswith("line-") and link[5:] in by_key:
            return by_key[link[5:]]
    kind = entry.fact("kind")
    if own_minutes:
        work = work_name(kind) if kind else ""
        fitting = [
            line for line in estimate.lines if line.hours and work and work_name(line.kind_of_work) == work
        ]
    else:
        fitting = [line for line in estimate.lines if line.money and line.kind == kind == "purchase"]
    return fitting[0] if len(fitting) == 1 else None


def actuals(entries: Iterable[Entry], car: str, estimate: Estimate) -> tuple[Actual, ...]:
    """Sum a car's journal entries by estimate line, the unplanned ones by their own words.

    Parameters
    ----------
    entries
        The journal.
    car
        The car's account part.
    estimate
        The frozen estimate.

    Returns
    -------
    tuple of Actual
        Planned lines first, in the estimate's order.
    """
    currency = estimate.currency
    sums: dict[tuple[str, str], tuple[int, Decimal, int]] = {}
    lines = {line.key: line for line in estimate.lines}
    for entry in standing(entries):
        if car.lower() not in entry.links:
            continue
        cost, minutes = _costs(entry, car, currency), _minutes(entry, car)
        if not cost and not minutes:
            continue
        line = _line_of(entry, estimate, lines, bool(minutes))
        name = (line.key, line.label) if line else ("", entry.narration)
        bought = Decimal(entry.fact("quantity") or 1) if cost > 0 and not _settles(entry) else Decimal(0)
        before = sums.get(name, (0, Decimal(0), 0))
        sums[name] = (before[0] + cost, before[1] + bought, before[2] + minutes)
    order = {key: place for place, key in enumerate(lines)}
    rows = sorted(sums.items(), key=lambda item: order.get(item[0][0], len(order)))
    return tuple(
        Actual(key, label, Money(cost, currency), quantity, minutes)
        for (key, label), (cost, quantity, minutes) in rows
    )


def _settles(entry: Entry) -> bool:
    return any(link.startswith(("core-of-", "refund-of-")) for link in entry.links)


def _worth(minutes: int, wage: Money) -> int:
    return int((Decimal(wage.minor) * minutes / 60).to_integral_value())


def variance(estimate: Estimate, cost: CarCost, booked: Sequence[Actual]) -> Variance:
    """Explain the result of a car against its frozen estimate.

    Per line ``actual - planned = quantity part + price part`` with quantity part
    ``(q_actual - q_planned) x planned price`` and price part the rest, so the cents add up by
    construction; then unplanned costs, sale price, other income, selling fees, own time at the
    chosen wage.

    Parameters
    ----------
    estimate
        The frozen estimate.
    cost
        The car's figures from the journal.
    booked
        What was booked by line, from ``actuals``.

    Returns
    -------
    Variance
        Effects above 0 are better than estimated.

    References
    ----------
    own-reasoning, docs/method/lessons.md.
    """
    currency, wage = estimate.currency, estimate.wage
    by_key = {actual.key: actual for actual in booked if actual.key}
    found: list[VarianceLine] = []
    planned_cost = planned_minutes = 0
    for line in estimate.lines:
        planned = line.planned_money(currency).minor
        planned_cost += planned
        planned_minutes += line.planned_minutes
        actual = by_key.get(line.key, Actual(line.key, line.label, Money(0, currency), Decimal(0), 0))
        more = actual.quantity - line.quantity
        by_quantity = int((more * planned / line.quantity).to_integral_value())
        by_price = actual.cost.minor - planned - by_quantity
        spent = actual.cost.minor or actual.quantity
        found += [
            VarianceLine(
                line.key, line.label, "quantity" if spent else "not spent", Money(-by_quantity, currency)
            ),
            VarianceLine(line.key, line.label, "price", Money(-by_price, currency)),
            VarianceLine(
                line.key,
                line.label,
                "own time",
                Money(_worth(line.planned_minutes, wage) - _worth(actual.minutes, wage), currency),
            ),
        ]
    for extra in (actual for actual in booked if not actual.key):
        found += [
            VarianceLine("", extra.label, "unplanned cost", Money(-extra.cost.minor, currency)),
            VarianceLine(
                "", extra.label, "unplanned own time", Money(-_worth(extra.minutes, wage), currency)
            ),
        ]
    found += [
        VarianceLine("", "Sale price", "sale price", cost.sales - estimate.sale_price),
        VarianceLine("", "Leftover parts, scrap, deposits kept", "other income", cost.other_income),
        VarianceLine("", "Fees of the sale", "selling fees", estimate.selling_fees - cost.selling_fees),
    ]
    estimated_profit = estimate.sale_price - estimate.selling_fees - Money(planned_cost, currency)
    # Time is priced line by line so that the rounding of each line is the rounding of the sum.
    planned_time = sum(_worth(line.planned_minutes, wage) for line in estimate.lines)
    spent_time = sum(_worth(actual.minutes, wage) for actual in booked)
    return Variance(
        estimated=estimated_profit - Money(planned_time, currency),
        actual=cost.profit - Money(spent_time, currency),
        estimated_profit=estimated_profit,
        actual_profit=cost.profit,
        estimated_minutes=planned_minutes,
        actual_minutes=sum(actual.minutes for actual in booked),
        lines=tuple(line for line in found if line.effect.minor),
    )


def middle(points: ThreePoint) -> float:
    """Middle (median) of a range: what a bias is measured against."""
    return fitted(points).quantile(0.5)


@dataclass(frozen=True)
class Taught:
    """One comparison a finished car teaches, with the range that was forecast."""

    job: Job
    points: ThreePoint

    @property
    def words(self) -> str:
        """The kind as a person reads it."""
        return work_words(self.job.kind)


def taught(estimate: Estimate, booked: Sequence[Actual], *, finished: bool = True) -> tuple[Taught, ...]:
    """Comparisons of estimate and actual that a car teaches, by line.

    Lines without money or hours on both sides teach nothing. Purchase teaches nothing: its price
    was agreed, not estimated. A reserve teaches nothing: whether a fault turned up says nothing
    about how estimates of work run. What lessons had already put into a line is taken out first.

    Parameters
    ----------
    estimate
        The frozen estimate.
    booked
        What was booked by line.
    finished
        Whether the work is done; otherwise actuals are lower bounds.

    Returns
    -------
    tuple of Taught
        Hours by kind of work, money by kind of cost.
    """
    by_key = {actual.key: actual for actual in booked if actual.key}
    found: list[Taught] = []
    for line in estimate.lines:
        actual = by_key.get(line.key)
        if actual is None or line.kind_of_work == RESERVE:
            continue
        if line.hours and actual.minutes > 0 and (said := middle(line.hours)) > 0:
            raw = said / line.hours_learned
            job = Job(line.kind_of_work or line.kind, raw, actual.minutes / 60, finished, HOURS)
            found.append(Taught(job, line.hours))
        if (
            line.money
            and line.kind != "purchase"
            and actual.cost.minor > 0
            and (said := middle(line.money)) > 0
        ):
            raw = said / line.money_learned
            found.append(Taught(Job(line.kind, raw, float(actual.cost.major), finished, MONEY), line.money))
    return tuple(found)
