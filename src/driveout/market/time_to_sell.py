"""How long cars stand for sale: adverts seen now and then, already up when first seen, some gone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.market.comparables import Comparable
from driveout.market.regression import Floats

# Before any advert was followed: about one car in 45 days, worth two cars of evidence.
# common practice, no source; docs/method/value.md, time to sell.
PRIOR_SHAPE = 2.0
PRIOR_DAYS = 45.0
# Share of vanished adverts that were sales, the rest were taken down: common practice, no source.
SHARE_SOLD = 0.8


@dataclass(frozen=True, slots=True)
class Stay:
    """One advert's stay, in days from its own start.

    Attributes
    ----------
    entered
        Its age when it came under watch; 0 when seen from the first day.
    least
        It was certainly still there at this age.
    most
        It was certainly gone at this age; None while it is still there. Equal to ``least``
        when the day is known exactly.
    """

    entered: float
    least: float
    most: float | None

    def __post_init__(self) -> None:
        if not 0 <= self.entered <= self.least or (self.most is not None and self.most < self.least):
            raise BadEntry(
                f"An advert cannot enter at {self.entered:g}, stand until {self.least:g} and be gone by {self.most} days.",
                field="stay",
                value=f"{self.entered:g}, {self.least:g}, {self.most}",
                allowed="0 <= entered <= least <= most",
            )


@dataclass(frozen=True, slots=True)
class SaleRate:
    """Sales per day as a gamma law.

    Attributes
    ----------
    shape, days
        Gamma shape and rate: mean ``shape / days`` per day.
    watched, gone
        Adverts followed and gone.
    """

    shape: float
    days: float
    watched: int
    gone: int

    @property
    def per_day(self) -> float:
        """Mean sales per day."""
        return self.shape / self.days

    def chance_unsold(self, days: float) -> float:
        """Chance that a car is still unsold after so many days."""
        return float((self.days / (self.days + days)) ** self.shape)

    def days_until(self, chance: float) -> float:
        """Days by which the car is sold with this chance."""
        if not 0 <= chance < 1:
            raise BadEntry(
                f"The chance {chance:g} must be at least 0 and below 1.", field="chance", value=chance
            )
        return self.days * math.expm1(-math.log1p(-chance) / self.shape)


def stays(comparables: Sequence[Comparable], today: date) -> tuple[Stay, ...]:
    """Stays of all comparables that were followed: seen on one day and again, or found gone.

    An advert whose first day is unknown is taken to start when it was first seen: for a
    constant rate that is exact, because such a stay forgets its past.
    """
    found = []
    for car in comparables:
        if car.seen is None:
            continue
        start = car.listed or car.seen
        entered = float((car.seen - start).days)
        last = car.last_seen or car.seen
        least = float((last - start).days)
        most = None if car.gone is None else float((min(car.gone, today) - start).days)
        if most is not None or least > entered:
            found.append(Stay(entered, least, most))
    return tuple(found)


def sale_rate(
    followed: Sequence[Stay],
    *,
    prior_shape: float = PRIOR_SHAPE,
    prior_days: float = PRIOR_DAYS,
    share_sold: float = SHARE_SOLD,
) -> SaleRate:
    """Sales per day from followed adverts, with a gamma prior and a constant rate.

    The posterior of the rate of vanishing is computed on a fine grid (interval censoring has no
    closed form), matched by a gamma law, and multiplied by the share of vanishings that are sales.

    Parameters
    ----------
    followed
        Stays, possibly none.
    prior_shape
        How many sales the gamma prior is worth.
    prior_days
        Days per sale that it expects.
    share_sold
        Share of vanished adverts that were sales.

    Returns
    -------
    SaleRate
        Gamma law of sales per day.

    Raises
    ------
    BadEntry
        If the prior is not above 0 or the share not within 0 to 1.
    """
    if prior_shape <= 0 or prior_days <= 0 or not 0 < share_sold <= 1:
        raise BadEntry(
            "The prior must be above 0 and the share of sales above 0 and at most 1.",
            field="prior_shape",
            value=f"{prior_shape:g}, {prior_days:g}, {share_sold:g}",
        )
    gone = sum(s.most is not None for s in followed)
    start = prior_shape * prior_days * share_sold
    if not followed:
        return SaleRate(prior_shape, prior_shape * prior_days, 0, 0)
    exact = sum(s.most == s.least for s in followed if s.most is not None)
    exposure = sum(s.least - s.entered for s in followed)
    widths = np.array([s.most - s.least for s in followed if s.most is not None and s.most > s.least])
    rough = (prior_shape + gone) / (start + exposure + 0.5 * float(widths.sum()))
    log_rate = math.log(rough) + np.linspace(-6, 6, 4001) * max(0.3, 1 / math.sqrt(prior_shape + gone))
    rate = np.exp(log_rate)
    log_density = (prior_shape + exact) * log_rate - (start + exposure) * rate
    for width in widths:
        log_density += np.log(-np.expm1(-rate * width))
    weight = np.exp(log_density - log_density.max())
    weight /= weight.sum()
    mean = float(weight @ rate)
    variance = float(weight @ (rate - mean) ** 2)
    shape = mean**2 / variance
    return SaleRate(shape, shape / (mean * share_sold), len(followed), gone)


def constant_rate(followed: Sequence[Stay]) -> float:
    """Most likely constant rate of vanishing per day, without any prior.

    Parameters
    ----------
    followed
        Stays; exact, between two visits, or still standing.

    Returns
    -------
    float
        Rate per day; with exact days it is events over time under watch.

    Raises
    ------
    CannotSay
        If none is gone.
    """
    if not any(s.most is not None for s in followed):
        raise CannotSay(
            "No followed advert is gone, so only an upper limit of the rate is known.", missing="gone"
        )
    exact = sum(1 for s in followed if s.most is not None and s.most == s.least)
    exposure = sum(s.least - s.entered for s in followed)
    widths = np.array([s.most - s.least for s in followed if s.most is not None and s.most > s.least])
    if not len(widths):
        if exposure <= 0:
            raise CannotSay(
                "All adverts vanished on the day they appeared; the rate has no bound.", missing="time"
            )
        return exact / exposure

    def slope(rate: float) -> float:
        return exact / rate - exposure + float(np.sum(widths / np.expm1(np.minimum(rate * widths, 700))))

    from scipy.optimize import brentq

    return float(brentq(slope, 1e-12, 1e3 / max(float(widths.min()), 1e-9), xtol=1e-15, rtol=1e-13))


@dataclass(frozen=True)
class SurvivalCurve:
    """Share still standing after each day on which one went, with its standard error."""

    days: Floats
    share: Floats
    error: Floats
    at_risk: Floats

    def median(self) -> float:
        """First day at which the share is half or less; infinite when it never is."""
        below = np.flatnonzero(self.share <= 0.5 + 1e-12)
        return float(self.days[below[0]]) if len(below) else math.inf


def survival_curve(followed: Sequence[Stay]) -> SurvivalCurve:
    """Product-limit share still standing, with Greenwood's standard error and delayed entry.

    Parameters
    ----------
    followed
        Stays with exact days (``most`` equal to ``least``) or still standing.

    Returns
    -------
    SurvivalCurve
        One row per distinct day with an event.

    Raises
    ------
    BadEntry
        If a stay is only known between two visits; use the constant rate for those.

    References
    ----------
    kaplan-meier-1958; greenwood-1926.
    """
    entered, until, gone = _exact(followed)
    days = np.unique(until[gone])
    at_risk = np.array([np.sum((entered < d) & (until >= d)) for d in days], dtype=float)
    events = np.array([np.sum(gone & (until == d)) for d in days], dtype=float)
    share = np.cumprod(1 - events / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = events / (at_risk * (at_risk - events))
        error = np.where(share > 0, share * np.sqrt(np.cumsum(terms)), 0.0)
    return SurvivalCurve(days, share, error, at_risk)


def log_rank(one: Sequence[Stay], other: Sequence[Stay]) -> tuple[float, float]:
    """Whether two groups vanish at different rates: log-rank chi-square (1 degree) and p.

    Parameters
    ----------
    one
        Stays of the first group, with exact days or still standing.
    other
        Stays of the second group.

    Returns
    -------
    tuple[float, float]
        Chi-square and the chance of one as large by accident.
    """
    a, b = _exact(one), _exact(other)
    difference = variance = 0.0
    for day in np.unique(np.concatenate([a[1][a[2]], b[1][b[2]]])):
        n1, n2 = (float(np.sum((g[0] < day) & (g[1] >= day))) for g in (a, b))
        d1, d2 = (float(np.sum(g[2] & (g[1] == day))) for g in (a, b))
        n, d = n1 + n2, d1 + d2
        difference += d1 - d * n1 / n
        if n > 1:
            variance += d * (n1 / n) * (n2 / n) * (n - d) / (n - 1)
    chi_square = difference**2 / variance
    return chi_square, math.erfc(math.sqrt(chi_square / 2))


def weibull_fit(followed: Sequence[Stay]) -> tuple[float, float]:
    """Shape and scale of the most likely Weibull law of the days standing.

    Parameters
    ----------
    followed
        Stays: exact, between two visits, still standing, with delayed entry.

    Returns
    -------
    tuple[float, float]
        Shape (above 1: the chance to go rises with age) and scale in days.

    Raises
    ------
    CannotSay
        With fewer than two gone.
    """
    if sum(s.most is not None for s in followed) < 2:
        raise CannotSay("A Weibull law needs at least two adverts gone.", missing="gone")
    from scipy.optimize import minimize

    entered = np.array([s.entered for s in followed])
    least = np.array([s.least for s in followed])
    most = np.array([math.nan if s.most is None else s.most for s in followed])
    exact = most == least
    between = most > least

    def loss(point: Floats) -> float:
        shape, scale = np.exp(point)
        power = (least / scale) ** shape
        total = -np.sum(power) + np.sum((entered / scale) ** shape)
        t = np.maximum(least[exact], 1e-9)
        total += np.sum(math.log(shape) + (shape - 1) * np.log(t) - shape * math.log(scale))
        gap = (most[between] / scale) ** shape - power[between]
        total += np.sum(np.log(-np.expm1(-np.maximum(gap, 1e-300))))
        return -float(total)

    start = np.array([0.0, math.log(max(float(np.mean(least)), 1.0))])
    best = minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    )
    shape, scale = np.exp(best.x)
    return float(shape), float(scale)


def _exact(
    followed: Sequence[Stay],
) -> tuple[Floats, Floats, np.ndarray[tuple[int, ...], np.dtype[np.bool_]]]:
    if any(s.most is not None and s.most > s.least for s in followed):
        raise BadEntry(
            "This needs exact days; an advert known only between two visits goes into the constant rate."
        )
    return (
        np.array([s.entered - (s.entered == 0) for s in followed]),
        np.array([s.least for s in followed]),
        np.array([s.most is not None for s in followed]),
    )
