"""Differential equations, brute force and simulation against the asking formulas and the programme."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from bench.asking import World, _ours, families, ode_value, random_case
from driveout.selling import demand as forms
from driveout.selling.programme import Demand, Terms, solve


@pytest.mark.parametrize("seed", range(30))
def test_the_closed_form_is_the_solution_of_the_differential_equation(seed: int) -> None:
    case = random_case(np.random.default_rng(seed))

    assert forms.value_now(*case) == pytest.approx(ode_value(*case), abs=0.01)


@pytest.mark.parametrize("seed", range(15))
def test_the_closed_form_is_the_limit_of_ever_finer_price_steps(seed: int) -> None:
    a, alpha, holding, fallback, days = random_case(np.random.default_rng(100 + seed))

    def stepped(count: int) -> float:
        value = fallback
        length = days / count
        for i in range(count - 1, -1, -1):
            rate = float(a(np.array([(i + 0.5) * length]))[0])
            later = value

            def worth(p: float, rate: float = rate, later: float = later) -> float:
                lam = rate * math.exp(-alpha * p)
                sold = -math.expm1(-lam * length)
                stay = sold / lam if lam > 1e-300 else length
                return p * sold + later * (1 - sold) - holding * stay

            # Best price of a step: near value + 1/alpha; the within-step formula is exact.
            best = minimize_scalar(
                lambda p: -worth(p),
                bounds=(later, later + 3 / alpha),
                method="bounded",
                options={"xatol": 1e-7},
            )
            value = -float(best.fun)
        return value

    coarse, fine = stepped(300), stepped(600)
    limit = fine + (fine - coarse) / 3

    # The error of the steps falls with the square of their length.
    assert forms.value_now(a, alpha, holding, fallback, days) == pytest.approx(limit, abs=0.01)


def test_the_opportunity_cost_is_the_largest_earning_per_day_by_another_route() -> None:
    alpha = math.log(2) / 500
    a = math.exp(alpha * 5000) / 14
    g = forms.next_project_per_day(lambda h: forms.value_without_deadline(a, alpha, h), 2600.0, 25.0, 12.0)

    def per_day(ask: float) -> float:
        rate = a * math.exp(-alpha * ask)
        return (ask - 2600 - 12 / rate) / (25 + 1 / rate)

    best = minimize_scalar(
        lambda p: -per_day(p), bounds=(3000, 7000), method="bounded", options={"xatol": 1e-9}
    )

    assert g == pytest.approx(-best.fun, abs=1e-6)


def test_the_programme_with_a_known_demand_is_the_closed_form_up_to_its_weekly_steps() -> None:
    market, k, per_day = 5000.0, 6.9, 0.4
    known = Demand(1e6, 1e6 / per_day, market, k / 2, k / 2, 0.15)
    terms = Terms((7.0,) * 8 + (4.0,), (1.0,) * 9, 12.0, 3000.0)
    level = per_day * 0.15 * math.exp(k)
    closed = forms.value_at_constant_interest(level, k / market, 12.0, 3000.0, 60.0)
    solved = solve(known, terms, price_count=120, exposure_count=8, most_counts=30).value

    assert closed - 5 < solved < closed + 0.5


def test_the_programme_agrees_with_a_plain_recursion_over_every_path() -> None:
    """Two steps, five prices, counts summed to 60 by hand: no table, no reading between rows."""
    from scipy.stats import nbinom

    d = Demand(1.5, 1.5 / 0.35, 5000.0, 3.0, 4.0, 0.15)
    t = Terms((7.0, 7.0), (1.0, 1.0), 20.0, 3800.0)
    table = solve(d, t, price_count=21, exposure_count=60, most_counts=40)

    def worth(step: int, n: float, b: float, highest: int) -> float:
        if step == 2:
            return t.fallback
        best = t.fallback
        for i in range(highest + 1):
            price = table.prices[i : i + 1]
            seen, buys = float(d.exposure(price, 0)[0]), float(d.buys(price, 0)[0])
            unsold = (b / (b + seen * buys * 7)) ** n
            grid = np.linspace(0, 7, 2001)
            stay = float(np.trapezoid((b / (b + seen * buys * grid)) ** n, grid))
            # Unsold and j asked in vain: negative binomial in exposure, thinned.
            later = 0.0
            if step == 0:
                j = np.arange(60)
                chance = nbinom.pmf(j, n, b / (b + seen * 7)) * (1 - buys) ** j
                later = sum(
                    c * worth(1, n + k, b + seen * 7, i) for c, k in zip(chance[:12], j[:12], strict=True)
                )
                later += (unsold - float(chance[:12].sum())) * worth(1, n + 12, b + seen * 7, i)
            else:
                later = unsold * t.fallback
            best = max(best, float(price[0]) * (1 - unsold) - 20 * stay + later)
        return best

    assert table.value == pytest.approx(worth(0, 1.5, 1.5 / 0.35, 20), abs=0.5)


def test_a_simulation_of_many_owners_earns_what_the_programme_promises() -> None:
    family = families()[0]
    programme = solve(family.demand, family.terms)
    money = World(family, 20_000, 5).money(_ours(programme))
    error = float(money.std()) / math.sqrt(len(money))

    # Three standard errors, and the two units that the table reads between its rows.
    assert abs(float(money.mean()) - programme.value) < 3 * error + 2.0


def test_not_knowing_the_demand_costs_one_over_n_alpha_without_the_way_out() -> None:
    alpha = math.log(2) / 500
    a = math.exp(alpha * 5000) / 14
    for n in (1.0, 4.0, 16.0):
        known = forms.value_without_deadline(a, alpha, 12.0)
        unknown = forms.learning_value(n, n / a, alpha, 12.0, -20_000.0)
        assert known - unknown == pytest.approx(1 / (n * alpha), rel=1e-6)


def test_the_discounted_value_solves_its_equation() -> None:
    for r, holding in ((0.1, 0.0), (0.001, 12.0), (1e-6, 12.0)):
        alpha, a = 0.0014, 73.0
        v = forms.value_without_deadline(a, alpha, holding, r)
        # r V = (a / (alpha e)) exp(-alpha V) - H, the rate of gain at the best price.
        assert r * v + holding == pytest.approx(a / (alpha * math.e) * math.exp(-alpha * v), rel=1e-9)
