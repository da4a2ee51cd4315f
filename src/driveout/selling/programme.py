"""The exact programme of price steps: what enquiries, and their absence, teach about the demand.

Enquiries come at rate ``theta * f * exp(-k1 (p - m_t) / m)`` a day, theta with a gamma law; each
enquirer buys with chance ``q0 exp(-k2 (p - m_t) / m)``. The state is (enquiries that did not buy,
exposure, price asked); prices never go up. Within a step everything is in closed form.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from driveout.errors import BadEntry

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Demand:
    """How buyers react; prices as plain numbers.

    Attributes
    ----------
    shape, days
        Gamma law of enquiries per day at the market value: mean ``shape / days``.
    market
        Market value m today.
    enquiry_fall, buy_fall
        k1 and k2: how many per cent fewer ask, and buy, per per cent of price.
    buy_share
        q0: share of enquirers who buy at the market value.
    depreciation_per_day
        Money the market value falls a day.
    """

    shape: float
    days: float
    market: float
    enquiry_fall: float
    buy_fall: float
    buy_share: float
    depreciation_per_day: float = 0.0

    def __post_init__(self) -> None:
        for name in ("shape", "days", "market", "buy_share"):
            if not getattr(self, name) > 0:
                raise BadEntry(
                    f"{name} {getattr(self, name):g} must be above 0.", field=name, value=getattr(self, name)
                )
        if not self.enquiry_fall + self.buy_fall > 0:
            raise BadEntry("The price sensitivity must be above 0.", field="sensitivity", allowed="above 0")

    @property
    def alpha(self) -> float:
        """Fall of the log sale rate per unit of money."""
        return (self.enquiry_fall + self.buy_fall) / self.market

    def exposure(self, price: Floats, day: float) -> Floats:
        """Enquiries per day at a price as a multiple of those at today's market value."""
        return np.asarray(np.exp(-self.enquiry_fall * self._above(price, day)))

    def buys(self, price: Floats, day: float) -> Floats:
        """Share of enquirers who buy at a price, at most 1."""
        return np.asarray(np.minimum(self.buy_share * np.exp(-self.buy_fall * self._above(price, day)), 1.0))

    def _above(self, price: Floats, day: float) -> Floats:
        return (price - self.market + self.depreciation_per_day * day) / self.market


@dataclass(frozen=True)
class Terms:
    """What waiting costs and what selling leaves, as plain numbers.

    Attributes
    ----------
    lengths, interest
        Days of each price step and the factor on enquiries in it (freshness, weekday).
    holding_per_day
        Cost of a day.
    fallback
        What the car brings at once without a buyer; to be had at the start of any step.
    fee_share, fee_fixed
        Selling fees: share of the price, and a fixed sum.
    """

    lengths: tuple[float, ...]
    interest: tuple[float, ...]
    holding_per_day: float
    fallback: float
    fee_share: float = 0.0
    fee_fixed: float = 0.0

    @property
    def effective_days(self) -> float:
        """Days to the deadline, each counted by its interest."""
        return sum(days * factor for days, factor in zip(self.lengths, self.interest, strict=True))

    def net(self, price: Floats) -> Floats:
        """What is left of a price after fees."""
        return price * (1 - self.fee_share) - self.fee_fixed

    def gross(self, net: float) -> float:
        """Price that leaves this much after fees."""
        return (net + self.fee_fixed) / (1 - self.fee_share)


@dataclass(frozen=True)
class Programme:
    """The solved programme.

    Attributes
    ----------
    prices, counts, exposures
        The grids; ``counts`` are enquiries from now on, ``exposures`` totals.
    values
        Per step (and after the last): value by count, exposure and highest price still allowed.
    choices
        Per step: index of the best price, -1 for selling out at once.
    first
        Value of each price in the first step, at the present state.
    starts
        Day on which each step begins.
    """

    demand: Demand
    terms: Terms
    prices: Floats
    counts: Floats
    exposures: Floats
    values: tuple[Floats, ...]
    choices: tuple[npt.NDArray[np.int16], ...]
    first: Floats
    starts: tuple[float, ...]

    @property
    def value(self) -> float:
        """Expected money now, after fees and waiting."""
        return float(self.values[0][0, 0, -1])

    def look_up(self, step: int, count: float, exposure: float, highest: int) -> tuple[float, int]:
        """Value and best price index in a state; ``highest`` is the index of the price asked before."""
        row, shown = self._kept_mean(count, exposure)
        log = np.log(self.exposures)
        at = float(np.clip(np.interp(math.log(shown), log, np.arange(len(log))), 0, len(log) - 1))
        low, above = min(int(at), len(log) - 2), min(int(row), len(self.counts) - 2)
        share, part = at - low, row - above
        block = self.values[step][above : above + 2, low : low + 2, highest]
        value = np.array([1 - part, part]) @ block @ np.array([1 - share, share])
        choice = int(self.choices[step][round(row), round(at), highest]) if step < len(self.choices) else -1
        return float(value), choice

    def _kept_mean(self, count: float, exposure: float) -> tuple[float, float]:
        """Row and exposure; beyond the table keep the mean demand: fewer enquiries, less exposure."""
        row = count / float(self.counts[1])
        last = len(self.counts) - 1
        if row <= last:
            return row, exposure
        shape = self.demand.shape
        return float(last), exposure * (shape + float(self.counts[last])) / (shape + count)


def solve(
    demand: Demand,
    terms: Terms,
    *,
    highest_ask: float | None = None,
    price_count: int = 25,
    exposure_count: int = 16,
    most_counts: int = 32,
) -> Programme:
    """Solve for the best price of every step in every state.

    Parameters
    ----------
    demand
        How buyers react, as believed now.
    terms
        Steps, costs, fallback and fees.
    highest_ask
        Price asked now, which the plan will not exceed; None when nothing is asked yet.
    price_count
        Prices looked at.
    exposure_count
        Exposures in the table.
    most_counts
        Rows of enquiries in the table, at most.

    Returns
    -------
    Programme
        Values and choices.

    References
    ----------
    own-reasoning, docs/method/asking.md, the programme.
    """
    prices = _price_grid(demand, terms, highest_ask, price_count)
    starts = tuple(np.concatenate([[0.0], np.cumsum(terms.lengths)]))
    exposures = _exposure_grid(demand, terms, prices, starts, exposure_count)
    counts = _count_grid(demand, terms, prices, most_counts)
    after = np.full((len(counts), len(exposures), len(prices)), terms.fallback)
    values = [after]
    choices: list[npt.NDArray[np.int16]] = []
    first = np.zeros(len(prices))
    for step in range(len(terms.lengths) - 1, -1, -1):
        each = _step_values(demand, terms, prices, counts, exposures, values[0], step, starts[step])
        first = each[0, 0]
        best = np.maximum.accumulate(each, axis=2)
        choice = np.maximum.accumulate(
            np.where(each >= best, np.arange(len(prices), dtype=np.int16), np.int16(0)), axis=2
        )
        choices.insert(0, np.where(best < terms.fallback, np.int16(-1), choice))
        values.insert(0, np.maximum(best, terms.fallback))
    return Programme(demand, terms, prices, counts, exposures, tuple(values), tuple(choices), first, starts)


def _price_grid(demand: Demand, terms: Terms, highest_ask: float | None, price_count: int) -> Floats:
    """From just above the fallback to the best ask if demand were far better than believed."""
    band = 1 / demand.alpha
    floor = max(terms.gross(terms.fallback) + 0.5 * band, 0.3 * demand.market)
    hopeful = (demand.shape + 2 * math.sqrt(demand.shape) + 1) / demand.days * demand.buy_share
    reach = hopeful * terms.effective_days
    ceiling = max(demand.market + (math.log(max(reach, 1e-9)) + 0.5) * band, floor + band)
    if highest_ask is not None:
        ceiling = min(ceiling, highest_ask) if ceiling > floor else ceiling
        if highest_ask <= floor:
            return np.linspace(max(highest_ask - band, 0.2 * highest_ask), highest_ask, price_count)
        ceiling = min(ceiling, highest_ask)
    return np.linspace(floor, ceiling, price_count)


def _exposure_grid(
    demand: Demand, terms: Terms, prices: Floats, starts: Sequence[float], exposure_count: int
) -> Floats:
    gained = sum(
        float(demand.exposure(prices[:1], start + length / 2)[0]) * length * factor
        for start, length, factor in zip(starts, terms.lengths, terms.interest, strict=False)
    )
    return np.asarray(
        demand.days * np.geomspace(1.0, max(1 + gained / demand.days, 1 + 1e-6), exposure_count)
    )


def _count_grid(demand: Demand, terms: Terms, prices: Floats, most_counts: int) -> Floats:
    middle = demand.exposure(prices[len(prices) // 2 :][:1], 0.0)[0]
    mean = demand.shape / demand.days * float(middle) * terms.effective_days
    likely = mean + 2.5 * math.sqrt(mean + mean**2 / demand.shape)
    per_step = mean / len(terms.lengths)
    stride = max(1, round(per_step / 6))
    return np.asarray(
        np.arange(0, min(max(6, math.ceil(likely / stride)), most_counts) + 1) * stride, dtype=float
    )


def _step_values(
    demand: Demand,
    terms: Terms,
    prices: Floats,
    counts: Floats,
    exposures: Floats,
    after: Floats,
    step: int,
    start: float,
) -> Floats:
    """Value of each price in one step, by count, exposure and price."""
    length, factor = terms.lengths[step], terms.interest[step]
    day = start + length / 2
    seen = demand.exposure(prices, day) * factor
    buys = demand.buys(prices, day)
    shape = (demand.shape + counts)[:, None, None]
    b = exposures[None, :, None]
    selling = (seen * buys)[None, None, :]
    unsold = (b / (b + selling * length)) ** shape
    value = terms.net(prices)[None, None, :] * (1 - unsold)
    value = value - terms.holding_per_day * _days_standing(shape, b, selling, length)
    gained = (seen * length)[None, None, :]
    quiet = (b / (b + gained)) ** shape
    ratio = (gained * (1 - buys)[None, None, :] / (b + gained)) * np.ones_like(quiet)
    stride = float(counts[1])
    later = _After(demand, counts, exposures, after, gained[0])
    for extra, share in enumerate(_arrivals(quiet, ratio, shape, unsold, stride)):
        value += share * later.with_more(extra)
    return np.asarray(value)


def _days_standing(shape: Floats, b: Floats, selling: Floats, length: float) -> Floats:
    """Expected days in the step before a sale: integral of (b / (b + r s))^n from 0 to the length."""
    near = np.abs(shape - 1) < 1e-6
    power = np.where(near, 2.0, shape)
    grown = (b + selling * length) / b
    rate = np.maximum(selling, 1e-300)
    usual = np.where(near, b / rate * np.log(grown), b / rate * (1 - grown ** (1 - power)) / (power - 1))
    # Where hardly anybody buys the difference of nearly equal numbers says nothing: it stands all the time.
    return np.where(shape * selling * length < 1e-7 * b, length, usual)


def _arrivals(quiet: Floats, ratio: Floats, shape: Floats, unsold: Floats, stride: float) -> list[Floats]:
    """Chances of so many enquirers who did not buy, in bins of one stride; the last bin takes the rest."""
    if stride > 4:
        return _many_arrivals(ratio, shape, unsold, stride)
    chance, total = quiet, quiet.copy()
    bins: list[Floats] = []
    one = np.zeros_like(quiet)
    most = round(24 * stride)
    for j in range(most):
        one = one + chance
        if (j + 1 + round(stride) // 2) % round(stride) == 0:  # bins lie round their label
            bins.append(one)
            one = np.zeros_like(quiet)
            if float(np.max(unsold - total)) < 2e-4 and j > stride:
                break
        chance = chance * (shape + j) / (j + 1) * ratio
        total = total + chance
    bins[-1] = bins[-1] + np.maximum(unsold - sum(bins), 0.0)
    return bins


def _many_arrivals(ratio: Floats, shape: Floats, unsold: Floats, stride: float) -> list[Floats]:
    """The same for wide bins, by the distribution function of the negative binomial law."""
    from scipy.special import betainc

    edges = [(i + 0.5) * stride for i in range(24)]
    below = [np.zeros_like(unsold)]
    for edge in edges:
        below.append(unsold * betainc(shape, edge + 0.5, 1 - ratio))
        if float(np.max(unsold - below[-1])) < 2e-4:
            break
    below[-1] = unsold
    return [upper - lower for lower, upper in itertools.pairwise(below)]


class _After:
    """Value after the step, read between exposures: by rows of count gained, count, exposure and price."""

    def __init__(
        self, demand: Demand, counts: Floats, exposures: Floats, after: Floats, gained: Floats
    ) -> None:
        self.shape, self.counts, self.exposures, self.after = demand.shape, counts, exposures, after
        self.reach = exposures[:, None] + gained
        self.price = np.arange(after.shape[2])[None, :]
        self.log_step = math.log(float(exposures[1] / exposures[0]))
        low, share = self._between(self.reach)
        self.inside = (1 - share) * after[:, low, self.price] + share * after[:, low + 1, self.price]

    def with_more(self, extra: int) -> Floats:
        """Value with so many more rows of count; beyond the table the mean demand is kept."""
        size = len(self.counts)
        surplus = np.arange(size, size + extra)[:, None, None]
        if extra == 0:
            return self.inside
        shrink = (self.shape + self.counts[-1]) / (self.shape + surplus * self.counts[1])
        low, share = self._between(self.reach[None] * shrink)
        last = self.after[-1]
        beyond = (1 - share) * last[low, self.price[None]] + share * last[low + 1, self.price[None]]
        return np.concatenate([self.inside[extra:], beyond])[-size:]

    def _between(self, exposure: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
        at = np.clip(np.log(exposure / self.exposures[0]) / self.log_step, 0, len(self.exposures) - 1 - 1e-9)
        low = at.astype(np.intp)
        return low, at - low
