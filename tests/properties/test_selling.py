from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.selling import SaleSituation, Spell, answer_offer, asking_plan
from driveout.selling.demand import value_at_constant_interest, value_now
from driveout.units import Money

ALPHAS = st.floats(3, 12).map(lambda k: k / 5000)
RATES = st.floats(0.003, 0.3)


def value(rate: float, alpha: float, holding: float, fallback: float, days: float) -> float:
    return value_at_constant_interest(rate * math.exp(alpha * 5000), alpha, holding, fallback, days)


@given(RATES, ALPHAS, st.floats(0.1, 60), st.floats(0, 4500), st.floats(1, 200))
@settings(max_examples=60, deadline=None)
def test_more_demand_a_better_fallback_and_cheaper_waiting_never_hurt(
    rate: float, alpha: float, holding: float, fallback: float, days: float
) -> None:
    here = value(rate, alpha, holding, fallback, days)

    assert value(rate * 1.1, alpha, holding, fallback, days) >= here
    assert value(rate, alpha, holding, fallback + 10, days) >= here
    assert value(rate, alpha, holding * 1.1, fallback, days) <= here


@given(RATES, ALPHAS, st.floats(0.0, 60), st.floats(0, 4500), st.integers(1, 200))
@settings(max_examples=30, deadline=None)
def test_the_general_form_is_the_special_one_where_interest_is_constant(
    rate: float, alpha: float, holding: float, fallback: float, days: int
) -> None:
    a = rate * math.exp(alpha * 5000)
    general = value_now(lambda s: np.full_like(s, a), alpha, holding, fallback, float(days))

    assert math.isclose(
        general, value_at_constant_interest(a, alpha, holding, fallback, float(days)), abs_tol=1e-6
    )


def usd(amount: float) -> Money:
    return Money(round(amount * 100), "USD")


SALES = st.builds(
    lambda value, part, per_day, days, holding, sd, asked, spell: SaleSituation(
        usd(value),
        usd(value * part),
        sale_days=2.0 / per_day,
        deadline_days=days,
        holding_per_day=usd(holding),
        value_sd=sd,
        asked_now=usd(value * asked) if asked else None,
        spells=(Spell(usd(value * asked), spell[0], spell[1]),) if asked and spell[0] else (),
    ),
    st.floats(300, 40_000),
    st.floats(0, 1.1),
    st.floats(0.002, 0.5),
    st.integers(1, 80),
    st.floats(0, 80),
    st.floats(0, 0.3),
    st.one_of(st.none(), st.floats(0.3, 2.0)),
    st.tuples(st.floats(0, 60), st.integers(0, 40)),
)


@given(SALES)
@settings(max_examples=30, deadline=None)
def test_every_plan_comes_down_only_and_takes_at_least_the_fallback(sale: SaleSituation) -> None:
    plan = asking_plan(sale)
    asks = [step.ask.minor for step in plan.steps]

    assert asks == sorted(asks, reverse=True)
    assert sale.asked_now is None or plan.ask <= sale.asked_now
    assert plan.expected >= sale.fallback - usd(0.01)
    assert all(0 <= a.sold_by <= b.sold_by <= 1 for a, b in zip(plan.steps, plan.steps[1:], strict=False))


@given(SALES, st.floats(0.2, 1.8))
@settings(max_examples=12, deadline=None)
def test_a_better_offer_never_turns_an_acceptance_into_a_refusal(sale: SaleSituation, part: float) -> None:
    offer = sale.value.times(1)
    low = usd(max(float(offer.major) * part, 0.01))
    if answer_offer(sale, low).answer == "accept":
        assert answer_offer(sale, low + usd(50)).answer == "accept"


@given(SALES)
@settings(max_examples=8, deadline=None)
def test_a_dearer_day_never_raises_what_to_take(sale: SaleSituation) -> None:
    dearer = replace(sale, holding_per_day=(sale.holding_per_day or usd(0)) + usd(20))

    one, other = asking_plan(sale), asking_plan(dearer)
    # Both programmes have their own price grid; its error is stated by the plan.
    assert other.expected <= one.expected + one.grid_error + other.grid_error + usd(0.01)
