"""The outlook of one car: profit, own hours, days and cash, from all that is known.

Exact where the evidence is given as `FaultChances`; from seeded draws where it is given as
`FaultDraws`. Nothing here knows where the numbers come from.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from driveout.errors import BadEntry
from driveout.outlook.book import Charge, CostBook, moments
from driveout.outlook.chances import FaultChances
from driveout.outlook.draws import DrawnLines, FaultDraws, draw_lines
from driveout.outlook.margin import Margin, Resale
from driveout.outlook.spread import (
    COARSE,
    FINE,
    Part,
    cost_distributions,
    grid_step,
    log_exponential_mean,
    parts_by_charge,
)
from driveout.rules import Rules
from driveout.uncertain import Lattice

DAYS_A_YEAR = 365.0
BAND = (0.10, 0.50, 0.90)
HOURS, DAYS = Charge(0.0, 1.0, 0.0), Charge(0.0, 0.0, 1.0)
#: of the five charges the first two are money; the fourth counts the days to the finish
MONEY_CHARGES, FINISH = 2, 3
SEED = 20140


@dataclass(frozen=True)
class Salvage:
    """A way to let the car go instead of mending it.

    Parameters
    ----------
    label
        What a person reads: part out, sell as it stands, scrap.
    money
        What it brings. [minor units]
    hours
        Own hours it takes. [h]
    """

    label: str
    money: float
    hours: float = 0.0


@dataclass(frozen=True)
class Case:
    """Everything an outlook is made from.

    Parameters
    ----------
    chances
        What may be wrong.
    book
        What mending takes; ``always`` holds the lines that come anyway.
    value
        P10 and P90 of the sale price of the mended car. [minor units]
    rules
        The person's own rules.
    price
        Price paid or asked; None when there is none. [minor units]
    salvage
        Ways to let the car go.
    spent_first
        Lines of ``book.always`` that are spent even when the car is let go.
    received
        Money that has come in for sure, such as a core deposit given back. [minor units]
    notes
        What is missing or assumed, in sentences.
    elapsed_days
        Days since it was bought. [days]
    hours_done
        Own hours booked so far; they are part of the lines' hours. [h]
    hours_done_after
        Those of them that lie on lines of ``after_finish``. [h]
    sunk
        Money booked so far on lines that are not ``spent_first``. [minor units]
    sunk_first
        Money booked so far on lines that are ``spent_first``. [minor units]
    usual
        Money and own hours that usual faults of such a car take on average, where the value is
        that of average cars, whose price has come down by them already. [minor units, h]
    after_finish
        Keys of lines of ``book.always`` whose hours and days do not keep it from being finished:
        papers, advert, waiting for a buyer.
    """

    chances: FaultChances | FaultDraws
    book: CostBook
    value: tuple[float, float]
    rules: Rules
    price: float | None = None
    salvage: tuple[Salvage, ...] = ()
    spent_first: frozenset[str] = frozenset()
    received: float = 0.0
    notes: tuple[str, ...] = ()
    elapsed_days: float = 0.0
    hours_done: float = 0.0
    hours_done_after: float = 0.0
    sunk: float = 0.0
    sunk_first: float = 0.0
    usual: tuple[float, float] = (0.0, 0.0)
    after_finish: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Band:
    """P10, median and P90, with the mean beside them."""

    low: float
    middle: float
    high: float
    mean: float


@dataclass(frozen=True)
class OutlookLine:
    """One line of how an outlook came about.

    Parameters
    ----------
    kind
        ``sale``, ``price``, ``received``, ``usual``, ``days``, ``always``, ``fault``, ``shared`` or ``way out``.
    label
        What a person reads.
    fault
        Fault id, or empty.
    chance
        Chance that it comes at all, None where that has no meaning.
    profit_mean
        What it adds to the mean profit (costs are below 0), hours not charged. [minor units]
    hours_mean
        Own hours it adds on average. [h]
    variance_share
        Its part of the variance of the profit; the parts add up to 1.
    """

    kind: str
    label: str
    fault: str
    chance: float | None
    profit_mean: float
    hours_mean: float
    variance_share: float


@dataclass(frozen=True, eq=False)
class Outlook:
    """Joint forecast of one car. Money in minor units of ``currency``.

    Parameters
    ----------
    currency
        ISO 4217 code.
    price
        Price the profit is counted after; None when the profit is before any price.
    profit
        Cash profit, own hours not charged.
    loss_chance
        Chance of a cash loss.
    hours, days
        Own hours, and days from buying to sold, if it is mended.
    finish, finish_p80
        Days from buying until the work is finished, and the day reached in 8 of 10 cases.
    per_hour
        Mean profit over mean hours: a ratio of means, not a mean of ratios. [minor units/h]
    cash_peak
        Money out before the sale, P90. [minor units]
    let_go_chance
        Chance that letting it go turns out better than mending it.
    salvage
        The way out that counts, or None.
    lines
        How the profit came about.
    how
        ``exact``, or how many draws were made.
    notes
        What is missing or assumed.
    cash, charged
        Margin before the price, without and with own hours at the wage.
    price_factor
        What each unit of price costs in all: tax, premium, capital tied up.
    """

    currency: str
    price: float | None
    profit: Band
    loss_chance: float
    hours: Band
    days: Band
    finish: Band
    finish_p80: float
    per_hour: float
    cash_peak: float
    let_go_chance: float
    salvage: Salvage | None
    lines: tuple[OutlookLine, ...]
    how: str
    notes: tuple[str, ...]
    cash: Margin = field(repr=False)
    charged: Margin = field(repr=False)
    price_factor: float = 1.0


@dataclass(frozen=True, eq=False)
class Forecast:
    """The pieces of an outlook, each computed when first asked for.

    Parameters
    ----------
    case
        Everything the outlook is made from.
    points
        Grid points of the money distributions, a power of two.
    like
        A forecast of nearly the same case, whose grid steps and mean days stand in here: a quick
        second look, for what moves the walk-away price.
    """

    case: Case
    points: int = FINE
    like: Forecast | None = None

    def mended_in_any_case(self) -> Forecast:
        """The same forecast with no way out before the end; what does not depend on that is shared."""
        if not self.case.salvage:
            return self
        other = Forecast(replace(self.case, salvage=()), self.points, self.like)
        shared = ("_charges", "_drawn", "_parts", "_reaches", "_every_grid", "_only_money")
        vars(other).update({name: vars(self)[name] for name in shared if name in vars(self)})
        return other

    @cached_property
    def _charges(self) -> tuple[Charge, ...]:
        """Cash, cash with wage, own hours, days to the finish, days to the sale."""
        return self.cash_charge, self.wage_charge, HOURS, self.days_charge, self.days_charge

    @cached_property
    def _drawn(self) -> DrawnLines | None:
        chances = self.case.chances
        if isinstance(chances, FaultChances):
            return None
        return draw_lines(chances, self.case.book, np.random.default_rng(SEED))

    @cached_property
    def _parts(self) -> list[tuple[Part, ...]]:
        """Parts in cash, own hours, days, and cash with wage."""
        charges = (self.cash_charge, HOURS, self.days_charge, self.wage_charge)
        if self._drawn is not None:
            return [self._drawn.parts(charge) for charge in charges]
        assert isinstance(self.case.chances, FaultChances)
        return parts_by_charge(self.case.chances, self.case.book, charges)

    @cached_property
    def _reaches(self) -> list[tuple[float, float]]:
        """Mean and standard deviation of each charge; of the finish, those of the sale, which are larger."""
        cash, hours, days, charged = (
            (math.fsum(p.mean for p in part), math.sqrt(max(math.fsum(p.covariance for p in part), 0.0)))
            for part in self._parts
        )
        return [cash, charged, hours, days, days]

    @cached_property
    def _every_grid(self) -> list[Lattice]:
        """Money and time in one pass, which costs less than two."""
        return self._grids(range(len(self._charges)))

    @property
    def _money_grids(self) -> list[Lattice]:
        return self._every_grid[:2] if "_every_grid" in vars(self) else self._only_money

    @cached_property
    def _only_money(self) -> list[Lattice]:
        return self._grids(range(2))

    @property
    def _time_grids(self) -> list[Lattice]:
        return self._every_grid[2:]

    def _grids(self, which: Sequence[int]) -> list[Lattice]:
        sizes = [self.points if k < MONEY_CHARGES else min(COARSE, self.points) for k in which]
        charges = [self._charges[k] for k in which]
        silent = [self.case.after_finish if k == FINISH else frozenset[str]() for k in which]
        if self._drawn is not None:
            return [
                self._drawn.distribution(charge, points, quiet)
                for charge, points, quiet in zip(charges, sizes, silent, strict=True)
            ]
        chances, book = self.case.chances, self.case.book
        assert isinstance(chances, FaultChances)
        if self.like is not None:
            ratio = self.like.points / self.points
            steps = [grid.step * ratio for grid in self.like._money_grids][: len(charges)]
        else:
            steps = [
                grid_step(*self._reaches[k], chances, book, charge, points)
                for k, charge, points in zip(which, charges, sizes, strict=True)
            ]
        return cost_distributions(chances, book, charges, steps, sizes, silent)

    @property
    def days_before(self) -> float:
        """Days gone by, less those that the booked hours stand for. [days]."""
        return self.case.elapsed_days - self.case.hours_done / self.case.rules.hours_per_day

    @property
    def _held_so_far(self) -> float:
        """What the days gone by have cost beyond those of the booked hours. [minor units]."""
        return self.case.rules.holding_per_day * self.days_before

    @property
    def cash_charge(self) -> Charge:
        """Money, and days at the holding cost; own hours take days too."""
        rules = self.case.rules
        return Charge(1.0, rules.holding_per_day / rules.hours_per_day, rules.holding_per_day)

    @property
    def wage_charge(self) -> Charge:
        """The cash charge with each own hour at the wage."""
        cash = self.cash_charge
        return Charge(1.0, cash.per_hour + self.case.rules.wage_per_hour, cash.per_day)

    @property
    def days_charge(self) -> Charge:
        """Waiting days, and own hours as days."""
        return Charge(0.0, 1.0 / self.case.rules.hours_per_day, 1.0)

    @cached_property
    def resale(self) -> Resale:
        """What the sale brings after fees that are a share of it."""
        return Resale.between(*self.case.value, self.case.rules.sale_fee_share)

    @cached_property
    def cash(self) -> Margin:
        """Sale less money out, before the price of the car."""
        return self._margin(0, 0.0)

    @cached_property
    def charged(self) -> Margin:
        """Sale less money out and own hours at the wage, before the price of the car."""
        return self._margin(1, self.case.rules.wage_per_hour)

    def _margin(self, which: int, wage: float) -> Margin:
        cost, charge = self._money_grids[which], self._charges[which]
        way_out = self.salvage
        floor = None
        if way_out is not None:
            spent = [p for p in self.case.book.always if p.label in self.case.spent_first]
            gone = self.case.sunk + moments(spent, charge)[0] - self.case.received
            gone += wage * self.case.hours_done + self.case.rules.holding_per_day * self.case.elapsed_days
            floor = way_out.money - wage * way_out.hours - gone
        received = self.case.received - self._held_so_far
        received += self.case.usual[0] + wage * self.case.usual[1]
        chances, book = self.case.chances, self.case.book

        def log_exponential(rate: float) -> float:
            assert isinstance(chances, FaultChances)
            return log_exponential_mean(chances, book, charge, rate) - rate * received

        exact = log_exponential if isinstance(chances, FaultChances) else None
        return Margin(self.resale, cost.shifted(-received), floor, exact, self._widened(which))

    def _widened(self, which: int) -> float:
        """Variance that the grid has added to an amount of money."""
        grid = self._money_grids[which]
        if self.like is not None:
            finer = self.like._money_grids[which].step / grid.step
            return self.like._widened(which) / finer**2
        return float(grid.variance - self._reaches[which][1] ** 2)

    @cached_property
    def salvage(self) -> Salvage | None:
        """The best way to let the car go, own hours counted at the wage."""
        wage = self.case.rules.wage_per_hour
        return max(self.case.salvage, key=lambda s: s.money - wage * s.hours, default=None)

    @cached_property
    def hours_mean(self) -> float:
        """Expected own hours if it is mended."""
        return math.fsum(p.mean for p in self._parts[1])

    @cached_property
    def days_mean(self) -> float:
        """Expected days from buying to sold."""
        if self.like is not None:
            return self.like.days_mean * self.like.case.rules.hours_per_week / self.case.rules.hours_per_week
        return math.fsum(p.mean for p in self._parts[2]) + self.days_before

    @property
    def price_factor(self) -> float:
        """What each unit of price costs: 1, tax, and the capital tied up for the expected days."""
        rules = self.case.rules
        held = rules.capital_share_per_year * self.days_mean / DAYS_A_YEAR
        return 1.0 + rules.purchase_tax_share + held

    def outlook(self) -> Outlook:
        """Everything together."""
        case = self.case
        own, to_finish, to_sale = self._time_grids
        cash = self.cash
        paid = 0.0 if case.price is None else case.price * self.price_factor
        low, middle, high = (cash.quantile(share) - paid for share in BAND)
        profit = Band(low, middle, high, cash.mean - paid)
        hours = _band(own, self.hours_mean)
        finish_before = self.days_before + case.hours_done_after / case.rules.hours_per_day
        finish = to_finish.shifted(finish_before)
        least = case.elapsed_days
        return Outlook(
            currency=case.rules.currency,
            price=case.price,
            profit=profit,
            loss_chance=cash.share_below(paid),
            hours=hours,
            days=_band(to_sale.shifted(self.days_before), self.days_mean, least),
            finish=_band(finish, finish.mean, least),
            finish_p80=max(_between(finish, 0.80), least),
            per_hour=profit.mean / hours.mean if hours.mean > 0 else math.nan,
            cash_peak=paid + cash.cost.quantile(0.90),
            let_go_chance=self.charged.let_go_share,
            salvage=self.salvage,
            lines=self._lines(paid),
            how="exact" if self._drawn is None else f"{self._drawn.count:,} seeded draws",
            notes=case.notes,
            cash=cash,
            charged=self.charged,
            price_factor=self.price_factor,
        )

    def _lines(self, paid: float) -> tuple[OutlookLine, ...]:
        money, hours = self._parts[0], self._parts[1]
        always = len(self.case.book.always)
        resale = self.resale
        whole = resale.variance + math.fsum(p.covariance for p in money)
        whole = whole if whole > 0 else 1.0
        lines = [
            OutlookLine("sale", "Sale of the mended car", "", None, resale.mean, 0.0, resale.variance / whole)
        ]
        if self.case.price is not None:
            lines.append(
                OutlookLine("price", "Price of the car, with tax and capital", "", None, -paid, 0.0, 0.0)
            )
        if self.case.received:
            lines.append(OutlookLine("received", "Money received", "", None, self.case.received, 0.0, 0.0))
        if self.case.usual[0]:
            label = "What usual faults have taken off the prices of average cars already"
            lines.append(OutlookLine("usual", label, "", None, self.case.usual[0], 0.0, 0.0))
        if abs(self._held_so_far) > 0.5:
            lines.append(
                OutlookLine(
                    "days",
                    "Days gone by, beyond those of the booked hours",
                    "",
                    None,
                    -self._held_so_far,
                    0.0,
                    0.0,
                )
            )
        for index, (part, own) in enumerate(zip(money, hours, strict=True)):
            kind = "always" if index < always else ("fault" if part.fault else "shared")
            chance = (
                None if math.isnan(part.chance) or (kind == "always" and part.chance == 1.0) else part.chance
            )
            lines.append(
                OutlookLine(
                    kind, part.label, part.fault, chance, -part.mean, own.mean, part.covariance / whole
                )
            )
        gained = self.cash.mean - self.cash.mended_mean
        if self.salvage is not None:
            label = f"Letting it go where that is better: {self.salvage.label}"
            lines.append(OutlookLine("way out", label, "", self.cash.let_go_share, gained, 0.0, 0.0))
        return tuple(lines)


def forecast(case: Case, *, points: int = FINE) -> Outlook:
    """The outlook of a car.

    Parameters
    ----------
    case
        Everything it is made from.
    points
        Grid points of the money distribution, a power of two.

    Returns
    -------
    Outlook
        Joint forecast with its breakdown.

    Raises
    ------
    BadEntry
        If ``points`` is no power of two from 64 up.

    References
    ----------
    own-reasoning, docs/method/outlook.md; heckerman-1989; black-scholes-1973.
    """
    if points < 64 or points & (points - 1):
        raise BadEntry(
            f"The grid has {points} points; a power of two from 64 up was expected.",
            field="points",
            value=points,
            allowed="64, 128, 256, ...",
        )
    return Forecast(case, points).outlook()


def _band(grid: Lattice, mean: float, least: float = 0.0) -> Band:
    low, middle, high = (max(_between(grid, share), least) for share in BAND)
    return Band(low, middle, high, mean)


def _between(grid: Lattice, share: float) -> float:
    """Quantile with the mass of each grid point spread over one step around it."""
    place = int(np.searchsorted(grid.cumulative, share - 1e-12))
    place = min(place, grid.pmf.size - 1)
    mass = float(grid.pmf[place])
    before = float(grid.cumulative[place]) - mass
    inside = (share - before) / mass if mass > 0 else 0.5
    if mass > 0.5:
        inside = 0.5
    return max(float(grid.points[place]) + (inside - 0.5) * grid.step, 0.0)
