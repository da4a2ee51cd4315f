"""The sale as plain numbers: demand as believed after what was seen, steps, terms, the next project."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from driveout.selling.demand import Floats, next_project_per_day, value_now
from driveout.selling.programme import Demand, Terms
from driveout.selling.situation import SaleSituation
from driveout.units import Money, minor_digits


@dataclass(frozen=True)
class SaleNumbers:
    """The situation as plain numbers of major units, with what was seen so far folded in."""

    demand: Demand
    terms: Terms
    asked_now: float | None
    next_project: float
    unit: float
    currency: str
    starts: tuple[float, ...]

    @classmethod
    def of(cls, s: SaleSituation) -> SaleNumbers:
        """The numbers of a situation."""
        lengths, factors = _steps(s)
        demand = demand_believed(s)
        terms = Terms(
            lengths, factors, major(s.holding_per_day), major(s.fallback), s.fee_share, major(s.fee_fixed)
        )
        g = 0.0
        if s.bottleneck in ("bay", "cash"):
            g = _next_project(s, demand, terms)
        terms = replace(terms, holding_per_day=terms.holding_per_day + g)
        starts = tuple(float(x) for x in np.concatenate([[0.0], np.cumsum(lengths)]))
        unit = _rounding(float(s.value.major))
        asked = None if s.asked_now is None else major(s.asked_now)
        return cls(demand, terms, asked, g, unit, s.currency, starts)

    @property
    def holding(self) -> float:
        """Cost of a day, the next project's share included."""
        return self.terms.holding_per_day

    @property
    def net_alpha(self) -> float:
        """Sensitivity per unit of net money."""
        return self.demand.alpha / (1 - self.terms.fee_share)

    def interest(self, days: Floats) -> Floats:
        """a(s) of the closed form, demand taken at its mean, in terms of the net price."""
        return interest_at(self.demand, self.terms, days)

    def money(self, amount: float) -> Money:
        """An amount in major units as money."""
        return Money(round(amount * 10 ** minor_digits(self.currency)), self.currency)

    def rounded(self, price: float) -> float:
        """A price as people write one."""
        return round(price / self.unit) * self.unit


def interest_at(demand: Demand, terms: Terms, days: Floats) -> Floats:
    """Interest a(s) of the closed form on given days, demand at its mean, in terms of the net price."""
    starts = np.concatenate([[0.0], np.cumsum(terms.lengths)])
    step = np.clip(np.searchsorted(starts, days, side="right") - 1, 0, len(terms.lengths) - 1)
    level = demand.shape / demand.days * demand.buy_share
    at_zero = level * np.exp(demand.alpha * (demand.market - demand.depreciation_per_day * days))
    return np.asarray(at_zero * np.exp(-demand.alpha * terms.gross(0.0)) * np.array(terms.interest)[step])


def major(money: Money | None) -> float:
    """Major units of an amount, 0 when there is none."""
    return 0.0 if money is None else float(money.major)


def _rounding(value: float) -> float:
    """Step of 1, 2 or 5 times a power of ten, at most 1 % of the value."""
    power = 10.0 ** math.floor(math.log10(value * 0.01))
    return next(m * power for m in (5, 2, 1) if m * power <= value * 0.01 * (1 + 1e-12))


def _steps(s: SaleSituation) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Length of each price step and the mean interest in it."""
    # Eight steps of the chosen length, then four twice as long, then four times: far prices are a sketch.
    lengths: list[float] = []
    left = s.deadline_days
    while left > 0:
        length = s.step_days * (1 if len(lengths) < 8 else 2 if len(lengths) < 12 else 4)
        lengths.append(float(min(length, left)))
        left -= length
    factors = []
    day = 0
    weekdays = np.array(s.weekdays or (1.0,) * 7)
    weekdays = weekdays / weekdays.mean()
    for days_in_step in lengths:
        days = day + np.arange(int(days_in_step))
        week = weekdays[(s.weekday + days) % 7]
        age = s.advert_age_days + days
        fade = s.fresh_days * (np.exp(-age / s.fresh_days) - np.exp(-(age + 1) / s.fresh_days))
        factors.append(float(np.mean(week * (1 + s.fresh_gain * fade))))
        day += int(days_in_step)
    return tuple(lengths), tuple(factors)


def demand_believed(s: SaleSituation) -> Demand:
    """Demand believed now: the prior, doubt of the value, and what the spells showed.

    A doubtful market value is a doubtful level of demand: a standard deviation v of its logarithm
    moves the log rate by k v. The sensitivity is weighed on a coarse grid.
    """
    shape = 1 / (1 / s.sale_shape + (s.sensitivity * s.value_sd) ** 2)
    days = shape * s.sale_days / s.sale_shape * s.buy_share
    market = major(s.value)
    grid = (
        np.array([s.sensitivity])
        if s.sensitivity_sd == 0
        else np.maximum(s.sensitivity + s.sensitivity_sd * np.linspace(-2, 2, 9), 1.0)
    )
    logs = -0.5 * ((grid - s.sensitivity) / max(s.sensitivity_sd, 1e-9)) ** 2
    k, exposure, enquiries = s.sensitivity, 0.0, 0
    if s.spells:
        above = np.array([(major(spell.ask) - market) / market for spell in s.spells])
        lengths = np.array([spell.days for spell in s.spells])
        counts = np.array([spell.enquiries for spell in s.spells])
        seen = lengths[None, :] * np.exp(-0.5 * grid[:, None] * above[None, :])
        enquiries = int(counts.sum())
        # Gamma-mixed Poisson likelihood of the enquiries for each sensitivity.
        logs = (
            logs
            + counts @ np.log(np.maximum(seen, 1e-12)).T
            - (shape + enquiries) * np.log(days + seen.sum(axis=1))
        )
        weights = np.exp(logs - logs.max())
        k = float(weights @ grid / weights.sum())
        exposure = float(np.sum(lengths * np.exp(-0.5 * k * above)))
    return Demand(
        shape=shape + enquiries,
        days=days + exposure,
        market=market,
        enquiry_fall=k / 2,
        buy_fall=k / 2,
        buy_share=s.buy_share,
        depreciation_per_day=major(s.depreciation_per_day),
    )


def _next_project(s: SaleSituation, demand: Demand, terms: Terms) -> float:
    alpha = demand.alpha / (1 - terms.fee_share)

    def value_at(holding: float) -> float:
        wait = value_now(
            lambda d: interest_at(demand, terms, d), alpha, holding, terms.fallback, float(s.deadline_days)
        )
        return max(wait, terms.fallback)

    return next_project_per_day(value_at, major(s.next_cost), s.next_work_days, terms.holding_per_day)


def sales_per_day(situation: SaleSituation, ask: Money) -> tuple[float, float]:
    """Sales per day at a price today, as a gamma law; all prices, days and enquiries so far are in it.

    Parameters
    ----------
    situation
        The sale as it stands.
    ask
        Price asked.

    Returns
    -------
    tuple
        Shape and days: mean ``shape / days``.
    """
    demand = demand_believed(situation)
    price = np.array([major(ask)])
    per_level = float(demand.exposure(price, 0.0)[0] * demand.buys(price, 0.0)[0]) * _steps(situation)[1][0]
    return demand.shape, demand.days / max(per_level, 1e-12)
