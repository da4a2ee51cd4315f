"""Whether cars go at one speed however long they have stood: curve, comparison, Weibull law."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.market.regression import Floats
from driveout.market.time_to_sell import Stay, constant_rate

# Fewer gone adverts than this say nothing on whether the rate is constant.
LEAST_GONE = 8


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

    loss = _weibull_loss(followed)
    start = np.array([0.0, math.log(max(float(np.mean([s.least for s in followed])), 1.0))])
    best = minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    )
    shape, scale = np.exp(best.x)
    return float(shape), float(scale)


def steadiness(followed: Sequence[Stay]) -> tuple[float, float]:
    """Whether the chance to go is the same every day: Weibull shape, and the chance of one as far from 1.

    Likelihood ratio of the Weibull law to the constant rate, with one degree of freedom.

    Parameters
    ----------
    followed
        Stays: exact, between two visits, still standing, with delayed entry.

    Returns
    -------
    tuple[float, float]
        Shape (below 1: the longer it stands the slower it goes) and p.

    Raises
    ------
    CannotSay
        With fewer than two gone.
    """
    shape, scale = weibull_fit(followed)
    loss = _weibull_loss(followed)
    constant = loss(np.array([0.0, -math.log(constant_rate(followed))]))
    gain = max(constant - loss(np.log([shape, scale])), 0.0)
    return shape, math.erfc(math.sqrt(gain))


def steadiness_words(followed: Sequence[Stay]) -> str:
    """What the stays say on the constant rate that the forecast of the sale takes; empty with few gone."""
    if sum(s.most is not None for s in followed) < LEAST_GONE:
        return ""
    shape, chance = steadiness(followed)
    if chance > 0.05:
        return (
            "Whether a car goes sooner or later than its first days tell cannot be seen from these adverts."
        )
    if shape < 1:
        return (
            "The longer such a car has stood the slower it goes: most go in the first days. "
            "The forecast takes one speed for all days, so for a car that has stood long it is too hopeful."
        )
    return (
        "Such cars seldom go in the first days and then faster: the forecast takes one speed for all days, "
        "so right after the advert it is too hopeful."
    )


def _weibull_loss(followed: Sequence[Stay]) -> Callable[[Floats], float]:
    """Minus the log likelihood at the logarithms of shape and scale."""
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

    return loss


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
