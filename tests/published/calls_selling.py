"""Adaptors that build the cases of selling.toml."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np

from driveout.selling import demand, stopping

ALPHA = math.log(2) / 500
A0 = math.exp(ALPHA * 5000) / 14


def uniform(low: float, high: float) -> Any:
    def excess(k: float) -> float:
        if k <= low:
            return (low + high) / 2 - k
        return max(high - k, 0.0) ** 2 / (2 * (high - low))

    return excess


def normal(k: float) -> float:
    density = math.exp(-(k**2) / 2) / math.sqrt(2 * math.pi)
    return density - k * 0.5 * math.erfc(k / math.sqrt(2))


def house_offers(cost: float) -> float:
    """Offers uniform from 400,000 to 500,000; below the range the first offer is taken."""
    return max(stopping.value_without_end(uniform(4e5, 5e5), cost, 0.0, 5e5), 4e5)


def uniform_with_cost(cost: float) -> float:
    return stopping.value_without_end(uniform(0, 1), cost, -10.0, 1.0)


def uniform_discounted(keep: float) -> float:
    return stopping.value_of_offers(uniform(0, 1), 5000, 0.0, growth=1 / keep)[-1]


def uniform_with_interest(count: int) -> float:
    return stopping.value_of_offers(uniform(0, 1), count, 0.0, growth=2.0)[-1]


def uniform_offers(count: int) -> float:
    return stopping.value_of_offers(uniform(0, 1), count, 0.0)[-1]


def normal_offers(count: int) -> float:
    # The first of the offers is taken unseen when none follows, so the last value is the plain mean.
    return stopping.value_of_offers(normal, count - 1, 0.0)[-1]


def exponential_offers(count: int) -> float:
    return stopping.value_of_offers(lambda k: math.exp(-k), count, 0.0)[-1]


def lottery(draws: int) -> float:
    # Drawn without putting back: the value before each draw depends on the tickets left.
    def value(left: tuple[int, ...], draws: int) -> Fraction:
        total = Fraction(0)
        for i, ticket in enumerate(left):
            rest = left[:i] + left[i + 1 :]
            total += max(Fraction(ticket), value(rest, draws - 1) if draws > 1 else Fraction(0))
        return total / len(left)

    return float(value((1, 2, 3, 4), draws))


def best_choice(count: int) -> float:
    steps = [[(i / count, 1 / i), (0.0, 1 - 1 / i)] for i in range(1, count + 1)]
    return stopping.best_stop(steps, 0.0)[0]


def best_choice_skip(count: int) -> int:
    """How many to let go by: candidates are taken once their chance is at least the value of going on."""
    steps = [[(i / count, 1 / i), (0.0, 1 - 1 / i)] for i in range(1, count + 1)]
    values = stopping.best_stop(steps, 0.0)
    return next(i for i in range(1, count + 1) if i / count >= values[i]) - 1


def expected_rank(count: int) -> float:
    steps = [[(-r * (count + 1) / (i + 1), 1 / i) for r in range(1, i + 1)] for i in range(1, count + 1)]
    return -stopping.best_stop(steps)[0]


def several(cars: int) -> dict[str, float]:
    return {
        "value": demand.value_of_several(20.0, 1.0, cars, 1.0),
        "ask": demand.ask_for_several(20.0, 1.0, cars, 1.0),
    }


def example_car(days: float) -> dict[str, float]:
    value = demand.value_now(lambda s: np.full_like(s, A0), ALPHA, 12.0, 3800.0, days)
    return {
        "value": value,
        "constant": demand.value_at_constant_interest(A0, ALPHA, 12.0, 3800.0, days),
        "ask": value + 1 / ALPHA,
    }


def example_without_deadline() -> dict[str, float]:
    value = demand.value_without_deadline(A0, ALPHA, 12.0)
    return {"value": value, "ask": value + 1 / ALPHA, "days": 1 / (ALPHA * 12), "band": 1 / ALPHA}


def example_fresh() -> float:
    return demand.value_now(
        lambda s: A0 * (1 + 1.5 * np.exp(-s / 10)) * np.exp(-3 * ALPHA * s), ALPHA, 12.0, 3800.0, 60.0
    )


def learning(shape: float) -> dict[str, float]:
    days = shape / A0
    give_up = shape / (ALPHA * 12) * math.exp(-(1 + ALPHA * 3800))
    asks = [demand.learning_ask(shape, days + exposure, ALPHA, 12.0) for exposure in (0.0, days)]
    # An ask p adds exp(-alpha p) of exposure a day, so the slope per day follows from the ask itself.
    step = 1e-4 * days
    asked = demand.learning_ask(shape, days, ALPHA, 12.0)
    later = demand.learning_ask(shape, days + step, ALPHA, 12.0)
    per_day = math.exp(-ALPHA * (asked + later) / 2)
    return {
        "value": demand.learning_value(shape, days, ALPHA, 12.0, 3800.0),
        "by_day_60": demand.learning_value_by(shape, days, ALPHA, 12.0, 3800.0, 60.0),
        "slope": (later - asked) / (step / per_day),
        "dump_day": (demand.learning_ask(shape, days, ALPHA, 12.0) - (3800 + 1 / ALPHA)) / (12.0 / shape),
        "falls": float(all(b < a for a, b in pairwise(asks))),
        "give_up": give_up,
    }


def next_project(holding: float = 12.0) -> dict[str, float]:
    g = demand.next_project_per_day(
        lambda total: demand.value_without_deadline(A0, ALPHA, total), 2600.0, 25.0, holding
    )
    return {
        "g": g,
        "ask": demand.value_without_deadline(A0, ALPHA, holding + g) + 1 / ALPHA,
        "days": 1 / (ALPHA * (holding + g)),
    }


def one_price_sequence(prices: int) -> float:
    """Best value of so many equal steps over 60 days, example car, by direct search over the prices."""
    from scipy.optimize import minimize

    lengths = np.full(prices, 60 / prices)

    def loss(asks: np.ndarray) -> float:
        return -demand.value_of_prices(asks, lengths, A0 * np.exp(-ALPHA * asks), 12.0, 3800.0)

    start = np.linspace(5700, 5000, prices)
    return float(-minimize(loss, start, method="BFGS", options={"gtol": 1e-8}).fun)


def share_of_gain(prices: int) -> float:
    """Gain over the fallback with so many equal steps, as a share of the gain with daily free prices."""
    full = demand.value_at_constant_interest(A0, ALPHA, 12.0, 3800.0, 60.0)
    return (one_price_sequence(prices) - 3800) / (full - 3800)


def daily_share_of_gain() -> float:
    """The same with the ask of the closed form taken at each noon and kept for the day."""
    full = demand.value_at_constant_interest(A0, ALPHA, 12.0, 3800.0, 60.0)
    left = 60 - np.arange(60) - 0.5
    asks = np.array(
        [demand.value_at_constant_interest(A0, ALPHA, 12.0, 3800.0, days) + 1 / ALPHA for days in left]
    )
    value = demand.value_of_prices(asks, np.full(60, 1.0), A0 * np.exp(-ALPHA * asks), 12.0, 3800.0)
    return (value - 3800) / (full - 3800)


def best_single_price() -> float:
    from scipy.optimize import minimize_scalar

    lengths = np.array([60.0])

    def loss(ask: float) -> float:
        return -demand.value_of_prices(
            np.array([ask]), lengths, np.array([A0 * math.exp(-ALPHA * ask)]), 12.0, 3800.0
        )

    return float(minimize_scalar(loss, bounds=(4000, 7000), method="bounded").x)


def clearance(steps: int) -> dict[str, float]:
    """Prices and money for a worth uniform from 0 to 1."""
    prices, expected = stopping.clearance_prices(1.0, steps)
    return {"first": prices[0], "last": prices[-1], "expected": expected}


def discounted_ask() -> float:
    return demand.value_without_deadline(10.0, 1.0, 0.0, 0.1) + 1.0
