"""When to stop waiting for a better offer: the value of so many offers still to come.

Only rules that count money are used for advice; rules that only count ranks ("let a third go by,
then take the next best") ignore money and are no advice here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from driveout.errors import BadEntry


def value_of_offers(
    excess: Callable[[float], float], count: int, last: float, *, cost: float = 0.0, growth: float = 1.0
) -> list[float]:
    """Value of waiting with 0, 1, 2 ... offers still to come, none of which comes back.

    ``V(n) = (V(n-1) + E[(X - V(n-1))+] - cost) / growth``. An offer is taken when it is at least the
    value of those that follow it.

    Parameters
    ----------
    excess
        E[(X - K)+], the mean amount by which an offer X exceeds K.
    count
        Offers still to come.
    last
        What is left when none comes any more.
    cost
        Cost of each offer.
    growth
        1 plus the interest between two offers.

    Returns
    -------
    list of float
        ``count + 1`` values; the entry n is the least offer to take with n still to come.

    Raises
    ------
    BadEntry
        If the count is below 0.

    References
    ----------
    moser-1956; guttman-1960; ferguson-optimal-stopping, chapter 2.

    Examples
    --------
    >>> value_of_offers(lambda k: (1 - k) ** 2 / 2, 2, 0.0)
    [0.0, 0.5, 0.625]
    """
    if count < 0:
        raise BadEntry(f"{count} offers to come is below 0.", field="count", value=count, allowed="0 or more")
    values = [last]
    for _ in range(count):
        values.append((values[-1] + excess(values[-1]) - cost) / growth)
    return values


def value_without_end(excess: Callable[[float], float], cost: float, low: float, high: float) -> float:
    """Least offer to take when offers never end but each costs something: where the mean gain equals the cost.

    Parameters
    ----------
    excess
        E[(X - K)+].
    cost
        Cost of each offer, above 0.
    low
        Where to look from.
    high
        Where to look to.

    Returns
    -------
    float
        K with ``E[(X - K)+] = cost``; it may lie below every offer, then the first is taken.
    """
    from scipy.optimize import brentq

    return float(brentq(lambda k: excess(k) - cost, low, high, xtol=1e-12 * max(1.0, abs(high)), rtol=1e-14))


def best_stop(steps: Sequence[Sequence[tuple[float, float]]], last: float = -math.inf) -> list[float]:
    """Value before each step of a sequence that must be stopped once, steps independent.

    Parameters
    ----------
    steps
        Per step the possible rewards with their chances.
    last
        Reward when it was never stopped.

    Returns
    -------
    list of float
        ``len(steps) + 1`` values; entry i is the value before step i, and the least reward to stop
        at in step i - 1.

    References
    ----------
    ferguson-optimal-stopping, chapter 2; cayley-1875.

    Examples
    --------
    >>> die = [(float(face), 1 / 6) for face in range(1, 7)]
    >>> best_stop([die, die])[0]
    4.25
    """
    values = [last]
    for step in reversed(steps):
        values.insert(0, sum(chance * max(reward, values[0]) for reward, chance in step))
    return values


def clearance_prices(highest: float, steps: int) -> tuple[tuple[float, ...], float]:
    """Falling prices for one thing of which nobody knows the worth, when every buyer sees the same worth.

    Worth uniform from 0 to ``highest``; that nobody took it at a price says that it is worth less. With
    ``v`` the value of the steps that follow as a share of what it can still be worth, the price is
    ``b / (2 (1 - v))`` and the value ``b / (4 (1 - v))``.

    Parameters
    ----------
    highest
        Most it can be worth, above 0.
    steps
        Prices to be tried, 1 or more.

    Returns
    -------
    tuple
        Prices, first to last, and the money expected at the start.

    Raises
    ------
    BadEntry
        If the worth is not above 0 or there is no step.

    References
    ----------
    lazear-1986, two periods and their extension.

    Examples
    --------
    >>> clearance_prices(90.0, 2)
    ((60.0, 30.0), 30.0)
    """
    if not highest > 0 or not 1 <= steps <= 100:
        raise BadEntry(
            f"A worth of {highest:g} in {steps} steps cannot be planned.",
            field="steps",
            value=steps,
            allowed="worth above 0, 1 to 100 steps",
        )
    values = [0.0]
    for _ in range(steps):
        values.append(1 / (4 * (1 - values[-1])))
    prices, belief = [], highest
    for left in range(steps, 0, -1):
        belief = belief / (2 * (1 - values[left - 1]))
        prices.append(belief)
    return tuple(prices), highest * values[-1]


def exponential_excess(chance: float, band: float, market: float) -> Callable[[float], float]:
    """E[(X - K)+] of a viewer who would pay K with chance ``c exp(-(K - m) / band)``, at most 1."""
    sure = market + band * math.log(chance)

    def excess(k: float) -> float:
        if k >= sure:
            return band * chance * math.exp(-(k - market) / band)
        return band + sure - k

    return excess
