"""How long cars stand for sale: adverts seen now and then, already up when first seen, some gone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.market.comparables import Comparable

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
