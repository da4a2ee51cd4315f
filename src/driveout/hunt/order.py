"""Which car to go and see first, what an own hour should bring, and how not to fool oneself.

Going to see a car costs money and hours and shows what it is worth. The index of a car is the
sum in hand at which one would just still go: ``E[max(V - z, 0)] = cost``. Going in the order
of the index, and stopping when the best in hand beats every index left, is optimal for cars
that say nothing about each other (Weitzman 1979).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry, CannotSay
from driveout.uncertain import crossing

Floats = NDArray[np.float64]

#: up to this many cars every set that fits into the day is compared
MOST_COMPARED = 12


@dataclass(frozen=True)
class Trip:
    """A car one may go and see.

    Parameters
    ----------
    name
        What a person calls it.
    amounts
        What it may turn out to be worth over its price, and how likely. [minor units]
    chances
        What it may turn out to be worth over its price, and how likely. [minor units]
    cost
        Money and hours of going, as money. [minor units]
    hours
        Hours of driving and looking. [h]
    """

    name: str
    amounts: tuple[float, ...]
    chances: tuple[float, ...]
    cost: float
    hours: float = 0.0

    def __post_init__(self) -> None:
        fits = len(self.amounts) == len(self.chances) > 0 and min(self.chances) >= 0.0
        if not fits or abs(math.fsum(self.chances) - 1.0) > 1e-9:
            raise BadEntry(
                f"{self.name}: the chances add up to {math.fsum(self.chances):g}; one a worth, "
                "adding up to 1, was expected.",
                field="chances",
                value=str(self.chances),
                allowed="sum 1",
            )
        if not (self.cost >= 0.0 and self.hours >= 0.0):
            raise BadEntry(
                f"{self.name}: going to see it costs {self.cost!r} and {self.hours!r} h; 0 or more "
                "was expected.",
                field="cost",
                value=self.cost,
                allowed="0 or more",
            )

    @property
    def index(self) -> float:
        """Sum in hand at which one would just still go and see it. [minor units]."""
        return look_index(self.amounts, self.chances, self.cost)


@dataclass(frozen=True)
class Round:
    """An order of visits.

    Parameters
    ----------
    trips
        In the order of going.
    indexes
        Index of each; stop as soon as the best in hand is above all that are left.
    gain
        Expected gain of the whole round, costs of going taken off. [minor units]
    hours
        Hours if every one is visited. [h]
    """

    trips: tuple[Trip, ...]
    indexes: tuple[float, ...]
    gain: float
    hours: float


def look_index(amounts: Sequence[float], chances: Sequence[float], cost: float) -> float:
    """Sum z with ``E[max(V - z, 0)] = cost``, exact for a few amounts.

    Parameters
    ----------
    amounts
        What V may be.
    chances
        What V may be.
    cost
        Cost of looking, 0 or more.

    Returns
    -------
    float
        The index; the greatest amount when looking is free.

    References
    ----------
    weitzman-1979.
    """
    order = np.argsort(np.asarray(amounts, dtype=float))[::-1]
    value = np.asarray(amounts, dtype=float)[order]
    mass = np.asarray(chances, dtype=float)[order]
    if cost <= 0.0:
        return float(value[mass > 0][0])
    share = np.cumsum(mass)
    weighted = np.cumsum(mass * value)
    z = (weighted - cost) / np.where(share > 0, share, 1.0)
    # the right piece is the one whose root does not lie above its own lowest amount counted
    floor = np.append(value[1:], -np.inf)
    for candidate, lower in zip(z, floor, strict=True):
        if candidate >= lower:
            return float(candidate)
    return float(z[-1])


def round_gain(trips: Sequence[Trip], in_hand: float = 0.0) -> float:
    """Expected gain of going in the order of the index: ``E max(in hand, min(V_j, z_j))``.

    Parameters
    ----------
    trips
        The cars.
    in_hand
        What one has without going.

    Returns
    -------
    float
        The gain, costs of going taken off.

    References
    ----------
    weitzman-1979 (the identity follows from the optimal rule).
    """
    capped = [(np.minimum(np.asarray(t.amounts), t.index), np.asarray(t.chances)) for t in trips]
    points = np.unique(np.concatenate([[in_hand], *(np.maximum(v, in_hand) for v, _ in capped)]))
    below = np.ones(points.size)
    for value, mass in capped:
        order = np.argsort(value)
        running = np.concatenate([[0.0], np.cumsum(mass[order])])
        below *= running[np.searchsorted(value[order], points + 1e-9, side="right")]
    return float(points @ np.diff(below, prepend=0.0))


def visiting_order(trips: Sequence[Trip], in_hand: float = 0.0) -> Round:
    """All cars worth going for, highest index first."""
    worth = sorted((t for t in trips if t.index > in_hand), key=lambda t: -t.index)
    return Round(
        tuple(worth),
        tuple(t.index for t in worth),
        round_gain(worth, in_hand) - in_hand if worth else 0.0,
        math.fsum(t.hours for t in worth),
    )


def day_round(trips: Sequence[Trip], hours: float, in_hand: float = 0.0) -> Round:
    """The best set of visits that fits into a day, in the order of going.

    Parameters
    ----------
    trips
        The cars; beyond twelve, the twelve with the highest index.
    hours
        Hours of driving and looking there are. [h]
    in_hand
        What one has without going.

    Returns
    -------
    Round
        The set with the greatest expected gain among those whose hours fit when all are visited.

    Raises
    ------
    BadEntry
        If ``hours`` is under 0.
    """
    if hours < 0:
        raise BadEntry(
            f"There are {hours!r} hours; 0 or more was expected.",
            field="hours",
            value=hours,
            allowed="0 or more",
        )
    pool = visiting_order(trips, in_hand).trips[:MOST_COMPARED]
    best: Round = visiting_order((), in_hand)
    for size in range(1, len(pool) + 1):
        for some in itertools.combinations(pool, size):
            if math.fsum(t.hours for t in some) <= hours:
                made = visiting_order(some, in_hand)
                best = made if made.gain > best.gain else best
    return best


def prize(mean: float, spread: float, points: int = 41) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Amounts and chances of a normal worth that a visit will show, for `Trip`."""
    if spread <= 0.0:
        return (mean,), (1.0,)
    from scipy.special import ndtr

    edges = np.linspace(-4.0, 4.0, points + 1)
    inner = edges.copy()
    inner[0], inner[-1] = -np.inf, np.inf
    mass = np.diff(ndtr(inner))
    density = np.exp(-0.5 * inner**2) / math.sqrt(2.0 * math.pi)
    middle = -np.diff(density) / mass
    return tuple((mean + spread * middle).tolist()), tuple((mass / mass.sum()).tolist())


def own_wage(
    profits: Sequence[float] | Floats,
    hours: Sequence[float] | Floats,
    view_hours: float,
    chances: Sequence[float] | Floats | None = None,
) -> float:
    """What an own hour brings at best over a stream of adverts.

    Solves ``E[max(X - g H, 0)] = g t`` for g: take on a car only if it brings more an hour than
    all hours do on average, hours of viewing included. Dinkelbach's iteration.

    Parameters
    ----------
    profits
        Cash profit X of each advert of the stream. [minor units]
    hours
        Own hours H it would take. [h]
    view_hours
        Hours t of looking at one advert, above 0. [h]
    chances
        Chance of each; equal if left out.

    Returns
    -------
    float
        The rate g. [minor units/h]

    Raises
    ------
    BadEntry
        If ``view_hours`` is not above 0 or an hour count is under 0.
    CannotSay
        If no advert brings a profit.

    References
    ----------
    dinkelbach-1967; own-reasoning, docs/method/ceiling.md (renewal reward).
    """
    x, h = np.asarray(profits, dtype=float), np.asarray(hours, dtype=float) + np.zeros(len(profits))
    p = np.full(x.size, 1.0 / max(x.size, 1)) if chances is None else np.asarray(chances, dtype=float)
    if not view_hours > 0 or (h.size and h.min() < 0):
        raise BadEntry(
            f"Looking takes {view_hours!r} h and a car takes {h.min() if h.size else 0!r} h at least; "
            "more than 0 and 0 or more were expected.",
            field="view_hours",
            value=view_hours,
            allowed="above 0",
        )
    if not x.size or x.max() <= 0:
        raise CannotSay(
            "No advert of this stream brings a profit, so no hour earns anything.", missing="adverts"
        )
    rate = 0.0
    for _ in range(200):
        taken = x > rate * h
        new = float(p[taken] @ x[taken]) / (float(p[taken] @ h[taken]) + view_hours)
        if abs(new - rate) <= 1e-13 * max(abs(new), 1.0):
            return new
        rate = new
    return rate


def exponential_own_wage(mean_profit: float, hours: float, view_hours: float) -> float:
    """Closed form of `own_wage` for exponential profits and a fixed work time: ``(mu / h) W(h / t)``."""
    from scipy.special import lambertw

    return mean_profit / hours * float(lambertw(hours / view_hours).real)


def expected_disappointment(options: int) -> float:
    """By how many standard errors the best-looking of equal options disappoints on average.

    Mean of the largest of ``options`` independent standard normal errors.

    Parameters
    ----------
    options
        How many are compared, 1 or more.

    Returns
    -------
    float
        Disappointment in standard errors.

    Raises
    ------
    BadEntry
        If there is no option.

    References
    ----------
    smith-winkler-2006, three equal options: 0.85.
    """
    if options < 1:
        raise BadEntry(
            f"There are {options} options; 1 or more was expected.", field="options", value=options
        )
    from scipy.special import ndtr

    x = np.linspace(-12.0, 12.0, 48001)
    density = np.exp(-0.5 * x**2) / math.sqrt(2.0 * math.pi)
    return float(np.sum(x * options * density * ndtr(x) ** (options - 1)) * (x[1] - x[0]))


def shrunk(estimates: Sequence[float], errors: Sequence[float]) -> tuple[float, ...]:
    """Estimates pulled towards their common mean before they are ranked.

    The true values are taken as normal around a common mean; its spread is what is left of the
    spread of the estimates after their errors (method of moments, never under 0). A sharp
    estimate keeps its place, a vague one is pulled in.

    Parameters
    ----------
    estimates
        One a car.
    errors
        Standard error of each, 0 or more.

    Returns
    -------
    tuple[float, ...]
        Shrunk estimates in the same order.

    Raises
    ------
    BadEntry
        If the two lists differ in length or an error is under 0.

    References
    ----------
    smith-winkler-2006, section 4 (Bayes estimates remove the disappointment).
    """
    if len(estimates) != len(errors) or any(e < 0 for e in errors):
        raise BadEntry(
            f"There are {len(estimates)} estimates and {len(errors)} errors; one error of 0 or more "
            "an estimate was expected.",
            field="errors",
            value=len(errors),
        )
    if len(estimates) < 3:
        return tuple(float(x) for x in estimates)
    value, square = np.asarray(estimates, dtype=float), np.asarray(errors, dtype=float) ** 2

    def weights(between: float) -> Floats:
        return 1.0 / np.maximum(square + between, 1e-12)

    def gap(between: float) -> float:
        w = weights(between)
        centre = float(w @ value / w.sum())
        return float(w @ (value - centre) ** 2) - (value.size - 1)

    between = _fallen_to_zero(gap, float(value.var()) + float(square.max()) + 1.0)
    w = weights(between)
    centre = float(w @ value / w.sum())
    keep = between / np.maximum(square + between, 1e-12)
    keep = np.where(square == 0.0, 1.0, keep)
    return tuple((centre + keep * (value - centre)).tolist())


def _fallen_to_zero(gap: Callable[[float], float], high: float) -> float:
    if gap(0.0) <= 0.0:
        return 0.0
    while gap(high) > 0.0:
        high *= 4.0
    return crossing(gap, 0.0, high, 1e-9 * high)
