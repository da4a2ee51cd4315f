"""What one's own finished sales teach about the next: how fast cars go, and how price-sensitive buyers are.

Each car has a level of demand of its own; all levels share one law, and every finished car says a
little about that law. With few cars the law stays near common practice, with many it is their own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from driveout.market.time_to_sell import PRIOR_DAYS, PRIOR_SHAPE
from driveout.selling.situation import SENSITIVITY, SENSITIVITY_SD, Spell
from driveout.units import Money

# Before any own sale the law of common practice (shape 2) is split into doubt of the mean rate and
# differences between cars: exp(0.4^2) (1 + exp(0.5^2/2) / 4.07) - 1 = 1/2, the variance of that law.
# own-reasoning, docs/method/asking.md, own sales.
_MEAN_SD, _BETWEEN, _SHAPE_SD = 0.4, 4.07, 0.5


@dataclass(frozen=True)
class FinishedSale:
    """One car that was advertised and is gone.

    Attributes
    ----------
    value
        Market value that its plan was made with.
    spells
        Days at each price, with the enquiries that did not buy.
    sold
        Whether a buyer took it; False when it went for the fallback.
    """

    value: Money
    spells: tuple[Spell, ...]
    sold: bool


@dataclass(frozen=True)
class OwnDemand:
    """Prior of the next car's demand, as learned.

    Attributes
    ----------
    shape, days
        Gamma law of sales per day at the market value: mean ``shape / days``.
    sensitivity, sensitivity_sd
        Per cent fewer sales per per cent of price.
    sold, unsold
        Finished cars behind it.
    counts
        Share of the doubt about the mean rate that own sales have taken away: 0 nothing, near 1 all.
    """

    shape: float
    days: float
    sensitivity: float
    sensitivity_sd: float
    sold: int
    unsold: int
    counts: float

    def in_words(self) -> str:
        """One sentence for the page."""
        cars = self.sold + self.unsold
        if not cars:
            return "No own sale is finished yet; speed and price sensitivity are common practice."
        return (
            f"Your own {cars} finished {'sale' if cars == 1 else 'sales'} ({self.sold} sold) count "
            f"{self.counts:.0%} in the speed before this car's own adverts and comparables: about one sale in "
            f"{self.days / self.shape:.0f} days at the market value."
        )


def own_demand(finished: Sequence[FinishedSale]) -> OwnDemand:
    """Prior of the next car's demand from finished cars (gamma-Poisson, empirical Bayes on a grid).

    A car with level ``theta ~ Gamma(a, a/mean)`` sold after exposure ``e`` (days weighed by
    ``exp(-k (ask - value)/value)``) has the likelihood ``a b^a / (b + e)^(a+1)``, one taken off unsold
    ``(b / (b + e))^a``, ``b = a/mean``. Mean and shape are weighed on a grid against common practice; the
    prior of the next car has the mean and variance of the mixture. Enquiries at several prices weigh
    the sensitivity, the level of each car integrated out.

    Parameters
    ----------
    finished
        Finished cars, any order; none gives common practice.

    Returns
    -------
    OwnDemand
        The learned prior and how much the own sales count.

    References
    ----------
    own-reasoning, docs/method/asking.md, own sales.
    """
    if not finished:
        return OwnDemand(PRIOR_SHAPE, PRIOR_SHAPE * PRIOR_DAYS, SENSITIVITY, SENSITIVITY_SD, 0, 0, 0.0)
    k, k_sd = _sensitivity(finished)
    exposures = np.array([_exposure(one, k) for one in finished])
    sold = np.array([one.sold for one in finished], bool)
    # Shifted so that the mean of the rate, not of its logarithm, is that of common practice.
    means = math.log(1 / PRIOR_DAYS) - _MEAN_SD**2 / 2 + _MEAN_SD * np.linspace(-3.5, 3.5, 57)
    shapes = math.log(_BETWEEN) + _SHAPE_SD * np.linspace(-3, 3, 25)
    log_mean, log_shape = np.meshgrid(means, shapes, indexing="ij")
    a, mean = np.exp(log_shape), np.exp(log_mean)
    b = a / mean
    prior = -0.5 * ((log_mean - means.mean()) / _MEAN_SD) ** 2
    logs = prior - 0.5 * ((log_shape - shapes.mean()) / _SHAPE_SD) ** 2
    for e, was_sold in zip(exposures, sold, strict=True):
        logs = logs + a * np.log(b) - (a + was_sold) * np.log(b + e) + was_sold * log_shape
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    first = float(np.sum(weights * mean))
    spread = float(np.sum(weights * (mean**2 / a + mean**2)) - first**2)
    shape = min(first**2 / spread, 1e4)
    centre = float(np.sum(weights * log_mean))
    doubt = float(np.sum(weights * (log_mean - centre) ** 2))
    return OwnDemand(
        shape=shape,
        days=shape / first,
        sensitivity=k,
        sensitivity_sd=k_sd,
        sold=int(sold.sum()),
        unsold=int((~sold).sum()),
        counts=max(0.0, 1 - doubt / _MEAN_SD**2),
    )


def _above(one: FinishedSale) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    value = float(one.value.major)
    return np.array([(float(spell.ask.major) - value) / value for spell in one.spells])


def _exposure(one: FinishedSale, k: float) -> float:
    days = np.array([spell.days for spell in one.spells])
    return float(np.sum(days * np.exp(-k * _above(one))))


def _sensitivity(finished: Sequence[FinishedSale]) -> tuple[float, float]:
    """Mean and doubt of the price sensitivity after enquiries at several prices."""
    grid = np.maximum(SENSITIVITY + SENSITIVITY_SD * np.linspace(-2.4, 4, 65), 0.5)
    logs = -0.5 * ((grid - SENSITIVITY) / SENSITIVITY_SD) ** 2
    for one in finished:
        counts = np.array([spell.enquiries for spell in one.spells])
        if len(one.spells) < 2 or not counts.sum():
            continue
        days = np.array([spell.days for spell in one.spells])
        seen = days[None, :] * np.exp(-0.5 * grid[:, None] * _above(one)[None, :])
        # Given their number, enquiries fall on the prices in proportion to the exposure: no level needed.
        share = seen / seen.sum(axis=1, keepdims=True)
        logs = logs + np.log(np.maximum(share, 1e-300)) @ counts
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    k = float(weights @ grid)
    return k, float(math.sqrt(weights @ (grid - k) ** 2))
