"""Closed forms of the best asking price when buyers come by chance and fewer come at a higher price.

Sales at ask p come at rate ``a(s) exp(-alpha p)`` per day, s days from now. Holding costs H a day,
S is what the car brings otherwise. All amounts here are plain numbers of one currency.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from driveout.errors import BadEntry

Floats = npt.NDArray[np.float64]


def value_now(
    interest: Callable[[Floats], Floats],
    alpha: float,
    holding_per_day: float,
    fallback: float,
    days: float,
    *,
    offers: bool = False,
) -> float:
    """Expected money from holding the car for sale until a deadline, under the best asking prices.

    ``V = ln( exp(alpha (S - H T)) + (1/e) integral a(s) exp(-alpha H s) ds ) / alpha``: exact for any
    course of the interest a(s). The best ask today is this plus ``1/alpha``.

    Parameters
    ----------
    interest
        a(s) for an array of days from now.
    alpha
        Fall of the log sale rate per unit of money.
    holding_per_day
        H, money per day.
    fallback
        S, money at the deadline.
    days
        T, days to the deadline.
    offers
        True when buyers name the price (exponential offers at rate a): the factor 1/e is left out.

    Returns
    -------
    float
        V, the take-it price before fees.

    Raises
    ------
    BadEntry
        If alpha is not above 0 or the days are below 0.

    References
    ----------
    own-reasoning, docs/method/asking.md, form 3; gallego-van-ryzin-1994 for a constant interest.

    Examples
    --------
    >>> import numpy as np
    >>> value_now(lambda s: np.full_like(s, 20.0), 1.0, 0.0, 0.0, 1.0)
    2.123170
    """
    _check(alpha, days)
    start = alpha * (fallback - holding_per_day * days)
    if days == 0:
        return fallback
    nodes, weights = np.polynomial.legendre.leggauss(6)
    pieces = max(1, math.ceil(days - 1e-9))
    edges = np.minimum(np.arange(pieces + 1, dtype=float), days)
    half = np.diff(edges) / 2
    s = (edges[:-1] + half)[:, None] + half[:, None] * nodes[None, :]
    with np.errstate(divide="ignore"):
        logs = np.log(interest(s.ravel())) - alpha * holding_per_day * s.ravel() - (0.0 if offers else 1.0)
        logs += np.log((half[:, None] * weights[None, :]).ravel())
    return float(np.logaddexp.reduce(np.append(logs, start))) / alpha


def value_at_constant_interest(
    a: float, alpha: float, holding_per_day: float, fallback: float, days: float
) -> float:
    """Form 1: the same for a constant interest, in one line.

    Parameters
    ----------
    a
        Interest per day.
    alpha
        Fall of the log sale rate per unit of money.
    holding_per_day
        H, above 0.
    fallback
        S.
    days
        Days to the deadline.

    Returns
    -------
    float
        V.
    """
    _check(alpha, days)
    if alpha * holding_per_day * days < 1e-12:
        return float(np.logaddexp(alpha * fallback, math.log(a * days) - 1)) / alpha if days else fallback
    log_limit = math.log(a / alpha / holding_per_day) - 1
    decay = -alpha * holding_per_day * days
    return float(np.logaddexp(alpha * fallback + decay, log_limit + math.log(-math.expm1(decay)))) / alpha


def value_of_several(a: float, alpha: float, cars: int, days: float) -> float:
    """Form 2: value of several equal items with no holding cost and nothing at the deadline.

    Parameters
    ----------
    a
        Interest per day.
    alpha
        Fall of the log sale rate per unit of money.
    cars
        How many are for sale.
    days
        Days to the deadline.

    Returns
    -------
    float
        J; the best ask is ``J(n) - J(n-1) + 1/alpha``.

    References
    ----------
    gallego-van-ryzin-1994.
    """
    _check(alpha, days)
    return math.log(sum((a * days / math.e) ** i / math.factorial(i) for i in range(cars + 1))) / alpha


def ask_for_several(a: float, alpha: float, cars: int, days: float) -> float:
    """Best ask with so many left."""
    return value_of_several(a, alpha, cars, days) - value_of_several(a, alpha, cars - 1, days) + 1 / alpha


def value_without_deadline(
    a: float, alpha: float, holding_per_day: float, discount_per_day: float = 0.0
) -> float:
    """Forms 4 and 5: value when there is no deadline, with holding cost, interest on money, or both.

    Parameters
    ----------
    a
        Interest per day.
    alpha
        Fall of the log sale rate per unit of money.
    holding_per_day
        H.
    discount_per_day
        Interest rate r per day.

    Returns
    -------
    float
        V; with no discount the mean time to sell is ``1/(alpha H)``.

    Raises
    ------
    BadEntry
        If neither holding cost nor discount is above 0: then waiting is free and the value has no bound.

    References
    ----------
    own-reasoning, docs/method/asking.md, forms 4 and 5; farias-van-roy-2010 for the discounted case.

    Examples
    --------
    >>> value_without_deadline(10.0, 1.0, 0.0, 0.1)
    2.635933
    """
    _check(alpha, 0.0)
    if discount_per_day < 0 or holding_per_day < 0 or discount_per_day + holding_per_day <= 0:
        raise BadEntry(
            "With no deadline, holding or money must cost something, or waiting is free and the price has no bound.",
            field="holding_per_day",
            value=holding_per_day,
            allowed="above 0",
        )
    if discount_per_day == 0:
        return (math.log(a / alpha / holding_per_day) - 1) / alpha
    log_argument = math.log(a / discount_per_day) - 1 + alpha * holding_per_day / discount_per_day
    return _lambert_of_exp(log_argument) / alpha - holding_per_day / discount_per_day


def learning_value(shape: float, days: float, alpha: float, holding_per_day: float, fallback: float) -> float:
    """Value when the level of demand is not known and only "not sold yet" is seen; sell out at any time.

    Parameters
    ----------
    shape
        Shape of the gamma law of the demand level.
    days
        Its rate; the mean is ``shape / days``.
    alpha
        Fall of the log sale rate per unit of money.
    holding_per_day
        H, above 0.
    fallback
        S, to be had at any time.

    Returns
    -------
    float
        V, at least S.

    References
    ----------
    own-reasoning, docs/method/asking.md, not knowing the demand.
    """
    _check(alpha, 0.0)
    give_up = shape / (alpha * holding_per_day) * math.exp(-(1 + alpha * fallback))
    if days >= give_up:
        return fallback
    ratio = (days / give_up) ** shape
    return float((math.log(shape / (alpha * holding_per_day * days)) - 1 - 1 / shape + ratio / shape) / alpha)


def learning_ask(shape: float, days: float, alpha: float, holding_per_day: float) -> float:
    """Best ask in that case: it falls by ``H / shape`` a day in a straight line."""
    return math.log(shape / days / (alpha * holding_per_day)) / alpha


def learning_value_by(
    shape: float, days: float, alpha: float, holding_per_day: float, fallback: float, deadline_days: float
) -> float:
    """The same with a deadline at which the car goes for the fallback value.

    The exposure m bought so far follows ``m' = alpha (H G(m) - C) / -G'(m)``, G the chance of
    no sale; the constant C is found so that the last ask is ``S + 1/alpha``.

    Parameters
    ----------
    shape
        Shape of the gamma law of the demand level.
    days
        Its rate; the mean is ``shape / days``.
    alpha
        Fall of the log sale rate per unit of money.
    holding_per_day
        H.
    fallback
        S at the deadline.
    deadline_days
        T.

    Returns
    -------
    float
        V.

    References
    ----------
    own-reasoning, docs/method/asking.md, not knowing the demand.
    """
    from scipy.integrate import quad
    from scipy.optimize import brentq

    _check(alpha, deadline_days)

    def unsold(m: float) -> float:
        return float((days / (days + m)) ** shape)

    def fall(m: float) -> float:
        return float(unsold(m) * shape / (days + m))

    last_speed = math.exp(-(1 + alpha * fallback))  # exposure per day at the last ask, S + 1/alpha

    def speed(m: float, m_last: float) -> float:
        constant = holding_per_day * unsold(m_last) - last_speed * fall(m_last) / alpha
        return float(alpha * (holding_per_day * unsold(m) - constant) / fall(m))

    def days_needed(m_last: float) -> float:
        return float(quad(lambda m: 1 / speed(m, m_last), 0.0, m_last, limit=200)[0])

    low, high = 1e-12 * last_speed, last_speed * deadline_days
    while days_needed(high) < deadline_days and high < 1e12 * last_speed:
        high *= 2
    m_last = float(brentq(lambda m: days_needed(m) - deadline_days, low, high, xtol=1e-14 * high, rtol=1e-13))

    def rate_of_money(m: float) -> float:
        pace = speed(m, m_last)
        return float((-math.log(pace) / alpha) * fall(m) - holding_per_day * unsold(m) / pace)

    earned = float(quad(rate_of_money, 0.0, m_last, limit=200)[0])
    return earned + fallback * unsold(m_last)


def next_project_per_day(
    value_at: Callable[[float], float], cost_in: float, work_days: float, holding_per_day: float
) -> float:
    """What a day of waiting costs because the next project cannot start.

    The earning g per day at which a cycle of buying, working and selling just earns g:
    ``V(h + g) - C - g W = 0``. By renewal reward this is the largest long-run earning per day.

    Parameters
    ----------
    value_at
        V for a total cost per day.
    cost_in
        C, money a car costs before it is for sale.
    work_days
        W, days of work before it is for sale.
    holding_per_day
        h, cash cost of holding per day.

    Returns
    -------
    float
        g, not below 0.

    References
    ----------
    own-reasoning, docs/method/asking.md, the next project.
    """
    from scipy.optimize import brentq

    def left(g: float) -> float:
        return value_at(holding_per_day + g) - cost_in - g * work_days

    if left(1e-9) <= 0:
        return 0.0
    high = 1.0
    while left(high) > 0 and high < 1e9:
        high *= 2
    return float(brentq(left, 1e-9, high, xtol=1e-12, rtol=1e-14))


def value_of_prices(
    prices: Floats, lengths: Floats, rates: Floats, holding_per_day: float, fallback: float
) -> float:
    """Expected money of a fixed course of prices; exact within each step.

    Parameters
    ----------
    prices
        Net price of each step.
    lengths
        Days of each step.
    rates
        Sales per day in each step.
    holding_per_day
        H.
    fallback
        S after the last step.

    Returns
    -------
    float
        ``p (1 - e^{-rL}) + V_next e^{-rL} - H (1 - e^{-rL}) / r``, from the last step back.
    """
    value = fallback
    for price, length, rate in zip(prices[::-1], lengths[::-1], rates[::-1], strict=True):
        sold = -math.expm1(-rate * length)
        stay = sold / rate if rate > 0 else length
        value = price * sold + value * (1 - sold) - holding_per_day * stay
    return float(value)


def _check(alpha: float, days: float) -> None:
    if not alpha > 0 or not math.isfinite(alpha):
        raise BadEntry(
            f"The price sensitivity {alpha:g} must be above 0: a dearer car sells more slowly.",
            field="alpha",
            value=alpha,
            allowed="above 0",
        )
    if not days >= 0:
        raise BadEntry(
            f"The days {days:g} must not be below 0.", field="days", value=days, allowed="0 or more"
        )


def _lambert_of_exp(log_argument: float) -> float:
    """W(exp(y)), also where exp(y) overflows: w + ln w = y by Newton's method."""
    w = log_argument if log_argument > 1 else math.exp(min(log_argument, 1.0)) * 0.5
    for _ in range(100):
        step = (w + math.log(w) - log_argument) / (1 + 1 / w)
        w = max(w - step, w * 1e-3)
        if abs(step) < 1e-15 * max(1.0, w):
            break
    return w
