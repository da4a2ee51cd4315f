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


def exponential_excess(chance: float, band: float, market: float) -> Callable[[float], float]:
    """E[(X - K)+] of a viewer who would pay K with chance ``c exp(-(K - m) / band)``, at most 1."""
    sure = market + band * math.log(chance)

    def excess(k: float) -> float:
        if k >= sure:
            return band * chance * math.exp(-(k - market) / band)
        return band + sure - k

    return excess
